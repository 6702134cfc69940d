//! A part on a bus with neighbours, its contents, and a measurement of it.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};
use pagewise_measure::facts::Facts;
use pagewise_measure::place::Scratch;
use pagewise_measure::probe::{Clock, Limits, OverHal, Probe, Trouble};
use pagewise_measure::protect::Hand;
use pagewise_measure::{Leave, read_only, saved, with_writes};
use pagewise_simulator::{BusError, ChipId, ChipModel, Level, PowerUp, Rig, RigBus, RigConfig, RigDelay, Straps};

use pagewise_simulator::model::MemoryKind;

use crate::draws::Draws;

/// A part with what surrounds it.
pub struct Held {
    pub rig: Rig,
    pub chip: ChipId,
    pub model: ChipModel,
    /// Where the array answers.
    pub address: u8,
    neighbour: Option<(ChipId, Vec<u8>)>,
    before: Vec<u8>,
    regions: Vec<Vec<u8>>,
    transfer_bytes: usize,
}

/// Delays and time of the rig.
pub struct RigClock {
    rig: Rig,
    delay: RigDelay,
}

impl DelayNs for RigClock {
    fn delay_ns(&mut self, ns: u32) {
        self.delay.delay_ns(ns);
    }
}

impl Clock for RigClock {
    fn now_ns(&mut self) -> u64 {
        self.rig.now_ns()
    }
}

/// A bus that is gone after so many transactions, as for a process that was killed.
pub struct Mortal {
    rig: Rig,
    bus: RigBus,
    left: u64,
}

#[derive(Debug)]
pub enum Gone {
    Bus(BusError),
    Killed,
}

impl embedded_hal::i2c::Error for Gone {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Bus(error) => error.kind(),
            Self::Killed => ErrorKind::Bus,
        }
    }
}

impl ErrorType for Mortal {
    type Error = Gone;
}

impl I2c for Mortal {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Gone> {
        self.left = self.left.checked_sub(1).ok_or(Gone::Killed)?;
        if self.left.is_multiple_of(256) {
            // A header that is too long is reported each time, which takes memory.
            self.rig.forget();
        }
        self.bus.transaction(address, operations).map_err(Gone::Bus)
    }
}

/// A hand at the WP pin of the rig.
struct AtPin<'h>(&'h Held);

impl Hand for AtPin<'_> {
    fn tie_wp(&mut self, high: bool) -> bool {
        self.0.rig.set_wp(self.0.chip, Level::from_bit(high));
        true
    }

    fn as_before(&mut self) {
        self.0.release();
    }
}

fn contents(draws: &mut Draws, capacity: usize) -> Vec<u8> {
    match draws.below(6) {
        0 | 1 => vec![0xFF; capacity],
        2 => (0..capacity).map(|at| at as u8).collect(),
        3 => {
            let mut bytes = vec![0xFF; capacity];
            let at = draws.below(capacity as u32 - 8) as usize;
            bytes[at..at + 5].copy_from_slice(b"Board");
            bytes
        }
        4 => {
            let period = 1 << draws.below(6);
            let once: Vec<u8> = (0..period).map(|_| draws.byte()).collect();
            once.iter().copied().cycle().take(capacity).collect()
        }
        _ => (0..capacity).map(|_| draws.byte()).collect(),
    }
}

impl Held {
    pub fn new(draws: &mut Draws, model: ChipModel) -> Self {
        let scl_hz = model.speed.iter().map(|grade| grade.scl_hz).min().unwrap_or(100_000).clamp(100_000, 400_000);
        let supply = &model.supply;
        let supply_mv = 3300.clamp(supply.write_min_mv, supply.max_mv);
        let rig = Rig::new(RigConfig { scl_hz, supply_mv, seed: u64::from(draws.below(1 << 30)) });
        rig.set_trace(false);
        let pins = draws.below(8) as u8;
        let straps = Straps::address(pins).with_wp(Level::from_bit(!model.write_protect.active_high));
        let before = contents(draws, model.capacity as usize);
        let chip = rig.attach_with(model.clone(), straps, PowerUp::Image(before));
        let own: Vec<u8> = (0x08..=0x77).filter(|address| matches(&model.device_bits, pins, *address)).collect();
        let address = if model.word_address_bytes == 0 { 0x50 + draws.below(8) as u8 } else { draws.pick(&own) };
        // An identical part beside it, and a device of another kind.
        let other_pins = pins ^ 1 << draws.below(3);
        let free =
            |address: &u8| !matches(&model.device_bits, other_pins, *address) || !answers_any(&model, pins, *address);
        let apart = draws.one_in(4) && (0..0x80).all(|address| free(&address)) && model.word_address_bytes < 3;
        let neighbour = apart.then(|| {
            let straps = Straps::address(other_pins).with_wp(straps.wp);
            let id = rig.attach_with(model.clone(), straps, PowerUp::Random);
            (id, rig.memory(id))
        });
        // Two devices at one address spoil each other's bytes, and nothing can be told of either.
        let clock_is_free = !matches(&model.device_bits, pins, 0x68) && !matches(&model.device_bits, other_pins, 0x68);
        if model.word_address_bytes > 0 && clock_is_free {
            rig.attach_other(0x68, "a clock");
        }
        let before = rig.memory(chip);
        let regions = (0..model.regions.len()).map(|region| rig.region(chip, region)).collect();
        let transfer_bytes = draws.pick(&[8192, 8192, 65_536, 300]);
        Self { rig, chip, model, address, neighbour, before, regions, transfer_bytes }
    }

    fn over<T>(&self, transactions: u64, run: impl FnOnce(&mut Probe<'_>) -> T) -> T {
        let bus = Mortal { rig: self.rig.clone(), bus: self.rig.bus(), left: transactions };
        let clock = RigClock { rig: self.rig.clone(), delay: self.rig.delay() };
        let mut wires = OverHal { bus, clock, other_is_nack: false };
        let never = AtomicBool::new(false);
        let limits = Limits { transfer_bytes: self.transfer_bytes, ..Limits::default() };
        run(&mut Probe::new(&mut wires, limits, &never, &|_| ()))
    }

    pub fn read(&self) -> Result<Facts, Trouble> {
        self.over(u64::MAX, |probe| read_only(probe, Some(self.address)))
    }

    /// Measures into a folder, for so many transactions.
    pub fn measure(&self, folder: &Path, transactions: u64) -> Result<Facts, Trouble> {
        let mut hand = AtPin(self);
        let bytes = self.model.capacity.min(1024);
        let scratch = Scratch::new(0, bytes).expect("a scratch range");
        let mut leave = Leave { scratch, saved: folder, writes: 6, hand: Some(&mut hand) };
        self.over(transactions, |probe| with_writes(probe, Some(self.address), &mut leave))
    }

    pub fn restore(&self, folder: &Path) -> Result<u32, Trouble> {
        self.over(u64::MAX, |probe| saved::restore(probe, folder))
    }

    /// WP where it does not protect, as a person would leave it.
    pub fn release(&self) {
        self.rig.set_wp(self.chip, Level::from_bit(!self.model.write_protect.active_high));
    }

    /// Everything is as it was: array, regions, locks, the part beside it.
    pub fn untouched(&self) {
        let now = self.rig.memory(self.chip);
        let differs = now.iter().zip(&self.before).position(|(now, before)| now != before);
        assert_eq!(differs, None, "the array differs: {:?}", self.model);
        for (region, before) in self.regions.iter().enumerate() {
            assert_eq!(self.rig.region(self.chip, region), *before, "region {region}: {:?}", self.model);
            assert!(!self.rig.region_locked(self.chip, region), "region {region} was locked: {:?}", self.model);
        }
        if let Some((neighbour, before)) = &self.neighbour {
            assert!(self.rig.memory(*neighbour) == *before, "the part beside it differs: {:?}", self.model);
        }
    }

    pub fn fram(&self) -> bool {
        self.model.memory == MemoryKind::Fram
    }
}

fn answers_any(model: &ChipModel, pins: u8, address: u8) -> bool {
    matches(&model.device_bits, pins, address)
        || model
            .regions
            .iter()
            .filter_map(|region| region.device_bits.as_ref())
            .any(|bits| matches(bits, pins, address))
}

fn matches(bits: &[pagewise_simulator::model::DeviceBit; 7], pins: u8, address: u8) -> bool {
    use pagewise_simulator::model::DeviceBit::{Block, Fixed, Ignored, Pin, PinInverted};
    bits.iter().enumerate().all(|(place, bit)| {
        let level = address >> (6 - place) & 1 == 1;
        match *bit {
            Fixed(fixed) => level == fixed,
            Pin(pin) => level == (pins >> pin & 1 == 1),
            PinInverted(pin) => level != (pins >> pin & 1 == 1),
            Ignored | Block(_) => true,
        }
    })
}

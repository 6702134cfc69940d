//! The simulated bus of the line: one chip, whose memory a file may keep between commands.

mod memory;

use std::path::Path;
use std::time::Duration;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use pagewise_simulator::{
    ChipId, ChipModel, CycleTime, Fault as Disturbance, Faults as Disturbances, Level, PowerUp, Rig, RigBus, RigConfig,
    RigDelay, Straps, SupplyProfile, TornModel,
};

use super::error::LineError;
use super::trouble::Trouble;
use memory::{Memory, RegionState};
use pagewise_base::fault::Fault;
use pagewise_part::card::geometry::PinLevels;

/// What the bench is made of.
#[derive(Debug, Clone)]
pub struct Setup<'s> {
    /// The chip that really sits in the socket.
    pub model: ChipModel,
    /// Levels of A0, A1, A2.
    pub pins: PinLevels,
    /// File that keeps its memory.
    pub memory: Option<&'s Path>,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in kHz.
    pub scl_khz: u32,
    /// What goes wrong.
    pub troubles: &'s [Trouble],
    /// A lockable region: its position in the model, and the device address and bytes of the write that locks it.
    pub lock: Option<(usize, u8, Vec<u8>)>,
}

/// A simulated bus with a chip.
pub struct Bench {
    rig: Rig,
    bus: RigBus,
    chip: ChipId,
    /// Word-address bytes of the chip that is there: more bytes than these store something.
    header: usize,
    /// Half a typical write cycle, in nanoseconds.
    half_cycle_ns: u64,
    /// After this time no write cycle runs any more.
    longest_cycle_ns: u64,
    memory: Option<Memory>,
    lockable: Option<usize>,
    /// Where WP is tied.
    wp: Level,
    writes: u64,
    cut_in: Option<u64>,
    unplugged_after: Option<u64>,
    gone: bool,
    real_time: bool,
}

impl Bench {
    /// Puts the chip on the bus.
    ///
    /// # Errors
    /// The memory file does not fit, is in use, or cannot be read; a trouble names a place that the chip does not
    /// have. Nothing is changed then.
    pub fn new(setup: &Setup<'_>) -> Result<Self, Fault> {
        let Setup { model, pins, troubles, .. } = setup;
        let memory = setup.memory.map(|path| Memory::take(path, model.capacity)).transpose()?;
        let rig = Rig::new(RigConfig { scl_hz: setup.scl_khz * 1000, supply_mv: setup.supply_mv, seed: 1 });
        rig.set_trace(false);
        let contents = memory.as_ref().map_or(PowerUp::Erased, |file| PowerUp::Image(file.stored().to_vec()));
        let protected = troubles.contains(&Trouble::WriteProtect);
        let wp = Level::from_bit(protected == model.write_protect.active_high);
        let straps = Straps { a: pins.map(Level::from_bit), wp };
        let cycle = &model.write_cycle;
        let mut bench = Self {
            chip: rig.attach_with(model.clone(), straps, contents),
            header: usize::from(model.word_address_bytes),
            half_cycle_ns: cycle.typical_ns / 2,
            longest_cycle_ns: cycle.max_ns.saturating_mul(u64::from(model.page.max(1))).min(1 << 50),
            bus: rig.bus(),
            rig,
            memory,
            lockable: setup.lock.as_ref().map(|(region, ..)| *region),
            wp,
            writes: 0,
            cut_in: None,
            unplugged_after: None,
            gone: false,
            real_time: false,
        };
        bench.restore_region(setup);
        bench.trouble(troubles)?;
        Ok(bench)
    }

    /// A bench over a rig that somebody else watches.
    #[must_use]
    pub fn over(rig: &Rig, chip: ChipId, model: &ChipModel) -> Self {
        Self {
            rig: rig.clone(),
            bus: rig.bus(),
            chip,
            header: usize::from(model.word_address_bytes),
            half_cycle_ns: model.write_cycle.typical_ns / 2,
            longest_cycle_ns: model.write_cycle.max_ns,
            memory: None,
            lockable: None,
            wp: Level::from_bit(!model.write_protect.active_high),
            writes: 0,
            cut_in: None,
            unplugged_after: None,
            gone: false,
            real_time: false,
        }
    }

    /// Contents and lock of the lockable region as the last command left them.
    fn restore_region(&mut self, setup: &Setup<'_>) {
        let Some((region, address, bytes)) = &setup.lock else { return };
        let Some(state) = self.memory.as_ref().and_then(Memory::region) else { return };
        self.rig.load_region(self.chip, *region, &state.bytes);
        if state.locked {
            // The chip has no other way to be locked than by the write that locks it.
            let _ = self.bus.write(*address, bytes);
            self.rig.advance_ns(self.longest_cycle_ns);
            self.rig.forget();
        }
    }

    fn trouble(&mut self, troubles: &[Trouble]) -> Result<(), Fault> {
        let mut script = Vec::new();
        for trouble in troubles {
            match *trouble {
                Trouble::Fitted(_) | Trouble::WriteProtect => {}
                Trouble::Other(address) => self.rig.attach_other(address, "another device"),
                Trouble::Nack(byte) => script.push(Disturbance::Nack { byte }),
                Trouble::LostWrite(n) => script.push(Disturbance::WriteDoesNotStick { chip: self.chip, cycle: n - 1 }),
                Trouble::EndlessWrite(n) => {
                    let lasts_ns = u64::MAX;
                    script.push(Disturbance::LongCycle { chip: self.chip, cycle: n - 1, lasts_ns });
                }
                Trouble::Cut(n) => self.cut_in = Some(n),
                Trouble::Unplugged(n) => self.unplugged_after = Some(n),
                Trouble::Stuck(offset) => {
                    script.push(Disturbance::StuckBits { chip: self.chip, offset, mask: 1, value: 0 });
                }
                Trouble::Busy => self.make_busy(),
                Trouble::RealTime => self.real_time = true,
            }
        }
        self.gone = self.unplugged_after == Some(0);
        if script.is_empty() {
            return Ok(());
        }
        let faults = Disturbances { script, ..Disturbances::default() };
        self.rig
            .set_faults(faults)
            .map_err(|place| Fault::of_file("--trouble", place.to_string(), "name a place of it"))
    }

    /// Starts a write cycle that stores what is there already.
    fn make_busy(&mut self) {
        self.rig.set_write_cycle(self.chip, CycleTime::Max);
        let first = self.rig.memory(self.chip)[0];
        let mut bytes = vec![0; self.header];
        bytes.push(first);
        // The chip's own first address is the lowest one that takes the bytes.
        let _ = (0u8..0x80).find(|address| self.bus.write(*address, &bytes).is_ok());
    }

    pub(super) fn delay(&self) -> BenchDelay {
        BenchDelay { inner: self.rig.delay(), rig: self.rig.clone(), real_time: self.real_time }
    }

    /// The WP pin, to be moved as a person would by hand.
    #[must_use]
    pub fn wp(&self) -> Wire {
        Wire { rig: self.rig.clone(), chip: self.chip, before: self.wp }
    }

    /// The file that keeps the chip's memory.
    pub(super) fn memory_file(&self) -> Option<&Path> {
        self.memory.as_ref().map(Memory::path)
    }

    pub(super) fn now_us(&self) -> u64 {
        self.rig.now_ns() / 1000
    }

    pub(super) fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), LineError> {
        if self.gone {
            let kind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
            return Err(LineError { kind, text: "device address not acknowledged".into() });
        }
        let before = self.rig.now_ns();
        let stores = operations.iter().any(|op| matches!(op, Operation::Write(bytes) if bytes.len() > self.header));
        let done = self.bus.transaction(address, operations);
        if stores && done.is_ok() {
            self.writes += 1;
            self.after_write();
        }
        if self.real_time {
            std::thread::sleep(Duration::from_nanos(self.rig.now_ns() - before));
        }
        let mut done = done.map_err(|error| LineError { kind: error.kind(), text: error.to_string() });
        // Also after a refused write: a wrong part may have taken some of it.
        if stores && let Err(reason) = self.store() {
            done = done.and(Err(LineError { kind: ErrorKind::Other, text: reason }));
        }
        done
    }

    fn after_write(&mut self) {
        if self.cut_in == Some(self.writes) {
            self.rig.set_torn_model(TornModel::Subset, self.writes);
            let at_ns = self.rig.now_ns() + self.half_cycle_ns.max(1);
            self.rig.set_supply_profile(&SupplyProfile::new().step(at_ns, 0));
        }
        if self.unplugged_after == Some(self.writes) {
            self.gone = true;
            self.rig.set_supply_mv(0);
        }
    }

    /// Puts into the file what the chip will hold once the write cycle that runs now is over: a chip stays supplied
    /// when a program goes away.
    fn store(&mut self) -> Result<(), String> {
        let Some(memory) = &mut self.memory else { return Ok(()) };
        let later = self.rig.fork();
        later.advance_ns(self.longest_cycle_ns);
        memory.store(&later.memory(self.chip))?;
        let Some(region) = self.lockable else { return Ok(()) };
        let (bytes, locked) = (later.region(self.chip, region), later.region_locked(self.chip, region));
        memory.store_region(RegionState { bytes, locked })
    }
}

/// The WP pin of a bench.
#[derive(Debug, Clone)]
pub struct Wire {
    rig: Rig,
    chip: ChipId,
    before: Level,
}

impl Wire {
    /// Ties it to the supply or to ground.
    pub fn tie(&self, high: bool) {
        self.rig.set_wp(self.chip, Level::from_bit(high));
    }

    /// Ties it where it was before.
    pub fn as_before(&self) {
        self.rig.set_wp(self.chip, self.before);
    }
}

/// Delays on the clock of a bench.
#[derive(Debug, Clone)]
pub struct BenchDelay {
    inner: RigDelay,
    rig: Rig,
    real_time: bool,
}

impl BenchDelay {
    /// Nanoseconds of simulated time.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.rig.now_ns()
    }
}

impl DelayNs for BenchDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.inner.delay_ns(ns);
        if self.real_time {
            std::thread::sleep(Duration::from_nanos(u64::from(ns)));
        }
    }
}

//! The chip and the second model of it on the same random traffic, legal and not.

use super::common::{first_difference, pattern, wire_address};
use super::reference::Reference;
use pagewise_simulator::{ChipId, ChipModel, ClockPlan, CycleTime, Level, PowerUp, Rig, RigConfig, StepBus, Straps};
use proptest::prelude::*;

/// One stretch on the bus.
#[derive(Debug, Clone)]
pub enum Stretch {
    /// START, the device address of an offset (with a bit of it changed, now and then), its header, data.
    Write {
        offset: u32,
        flip: u8,
        header: usize,
        data: Vec<u8>,
        stop: bool,
    },
    /// START, the device address with R/W = 1, so many bytes.
    Read {
        offset: u32,
        flip: u8,
        len: usize,
        stop: bool,
    },
    Stop,
    Wait(u64),
    Wp(bool),
}

pub fn stretch() -> impl Strategy<Value = Stretch> {
    let flip = || prop_oneof![6 => Just(0_u8), 1 => (0..7_u8).prop_map(|bit| 1 << bit)];
    let header = prop_oneof![8 => Just(9_usize), 1 => 0..4_usize];
    let data = prop::collection::vec(any::<u8>(), 0..70);
    prop_oneof![
        5 => (any::<u32>(), flip(), header, data, any::<u8>()).prop_map(|(offset, flip, header, data, stop)| {
            Stretch::Write { offset, flip, header, data, stop: stop > 60 }
        }),
        5 => (any::<u32>(), flip(), 1..80_usize, any::<bool>())
            .prop_map(|(offset, flip, len, stop)| Stretch::Read { offset, flip, len, stop }),
        1 => Just(Stretch::Stop),
        3 => (0..9_000_000_u64).prop_map(Stretch::Wait),
        1 => any::<bool>().prop_map(Stretch::Wp),
    ]
}

/// The first difference between the chip and the reference, in words.
pub fn difference(model: &ChipModel, seed: u64, stretches: &[Stretch]) -> Option<String> {
    let (mut both, chip) = Both::new(model, model, seed);
    for (number, stretch) in stretches.iter().enumerate() {
        if let Some(found) = both.step(model, chip, stretch) {
            return Some(format!("{}, step {number} {stretch:?}: {found}", model.name));
        }
    }
    both.stop();
    both.rig.advance_ns(model.write_cycle.max_ns.saturating_mul(u64::from(model.page.max(1))));
    let now = both.rig.now_ns();
    first_difference(&both.rig.memory(chip), both.reference.memory(now))
}

/// A chip and the reference on the same traffic.
pub struct Both {
    rig: Rig,
    bus: StepBus,
    reference: Reference,
    in_transfer: bool,
}

impl Both {
    /// A chip of one model beside the reference of another, which is the same one but for a canary.
    pub fn new(reference: &ChipModel, model: &ChipModel, seed: u64) -> (Self, ChipId) {
        let supply_mv = 3300_u32.clamp(model.supply.write_min_mv, model.supply.max_mv);
        let rig = Rig::new(RigConfig::default().with_seed(seed).with_supply_mv(supply_mv));
        let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(pattern(model.capacity as usize)));
        rig.set_write_cycle(chip, CycleTime::Max);
        rig.set_trace(seed & 1 == 0);
        // The reference knows one write cycle: the shortest that is promised at this supply.
        let mut reference = reference.clone();
        let always = reference.write_cycle.grades.iter().filter(|it| it.min_c.is_none() && it.max_c.is_none());
        let at = always.filter(|it| (it.min_mv..=it.max_mv).contains(&supply_mv));
        let shortest = at.map(|it| it.max_ns).min();
        reference.write_cycle.max_ns = shortest.unwrap_or(reference.write_cycle.max_ns);
        let reference = Reference::new(&reference, rig.memory(chip));
        (Self { reference, bus: rig.bus().steps(), rig, in_transfer: false }, chip)
    }

    const PLAN: ClockPlan = ClockPlan::for_scl_hz(400_000);

    fn start(&mut self) {
        self.bus.start().expect("no chip drives between two stretches");
        self.reference.start();
        self.in_transfer = true;
    }

    fn stop(&mut self) {
        if self.in_transfer {
            let now = self.rig.now_ns() + Self::PLAN.period_ns;
            self.bus.stop().expect("no chip drives between two stretches");
            self.reference.stop(now);
            self.in_transfer = false;
        }
    }

    /// A byte to both; whether it was acknowledged, or where they differ.
    fn send(&mut self, byte: u8) -> Result<bool, String> {
        let received = self.rig.now_ns() + 8 * Self::PLAN.period_ns - Self::PLAN.high_ns;
        let (chip, reference) = (self.bus.send(byte), self.reference.byte(received, byte));
        if chip == reference {
            Ok(chip)
        } else {
            Err(format!("0x{byte:02X} acknowledged: {chip}, should be {reference}"))
        }
    }

    pub fn step(&mut self, model: &ChipModel, chip: ChipId, stretch: &Stretch) -> Option<String> {
        let address = |offset: u32, flip: u8| {
            let (address, header) = wire_address(model, offset % model.capacity);
            // Other device addresses may be those of a region, of which the reference knows nothing.
            let alone = model.regions.iter().all(|region| region.device_bits.is_none());
            (if alone { address ^ flip } else { address }, header)
        };
        match stretch {
            Stretch::Write { offset, flip, header, data, stop } => {
                let (address, bytes) = address(*offset, *flip);
                self.start();
                let sent = bytes.iter().take(*header).chain(data);
                let done = std::iter::once(&(address << 1)).chain(sent).try_for_each(|byte| match self.send(*byte) {
                    Ok(true) => Ok(()),
                    // A controller stops at the first byte that is not acknowledged.
                    Ok(false) => Err(None),
                    Err(found) => Err(Some(found)),
                });
                if let Err(Some(found)) = done {
                    return Some(found);
                }
                if *stop || done.is_err() {
                    self.stop();
                }
            }
            Stretch::Read { offset, flip, len, stop } => {
                self.start();
                match self.send(address(*offset, *flip).0 << 1 | 1) {
                    Err(found) => return Some(found),
                    Ok(false) => self.stop(),
                    Ok(true) => {
                        for i in 0..*len {
                            let (got, wanted) = (self.bus.receive(i + 1 < *len), self.reference.drives());
                            if wanted.is_some_and(|wanted| wanted != got) {
                                return Some(format!("byte {i} reads 0x{got:02X}, should be {wanted:02X?}"));
                            }
                        }
                        self.reference.let_go();
                        if *stop {
                            self.stop();
                        }
                    }
                }
            }
            Stretch::Stop => self.stop(),
            Stretch::Wait(ns) => self.rig.advance_ns(*ns),
            Stretch::Wp(high) => {
                self.rig.set_wp(chip, Level::from_bit(*high));
                self.reference.set_wp(*high);
            }
        }
        None
    }
}

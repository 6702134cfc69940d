//! The driver on the simulated device with a script of faults: it never panics, every call ends in bounded time, what it
//! reports as stored is stored, and when the faults are gone a new driver works.
//!
//! Faults that put wrong bits on the bus (flips, SDA held low) can send data anywhere, so under them only time and the
//! end are checked.

use std::ops::Range;

use arbitrary::{Result as Drawn, Unstructured};
use pagewise_driver::{Eeprom, Geometry, Options};
use pagewise_simulator::{
    ChipId, ChipModel, CycleTime, Fault, Faults, PowerUp, Rig, RigBus, RigConfig, RigDelay, Straps,
};

type Driver = Eeprom<RigBus, RigDelay, 259>;

/// Longest time for which a script holds a line, and longest write cycle of a script that ends.
const HELD_NS: u64 = 50_000_000;
const MOST_BYTES: usize = 300;

/// A part and what the driver must know of it.
#[derive(Debug, Clone)]
pub struct Part {
    /// The simulated chip.
    pub model: ChipModel,
    /// The same part for the driver.
    pub geometry: Geometry,
    /// Its pins.
    pub straps: Straps,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// Bytes that can be written.
    pub writable: Range<u32>,
}

/// Runs up to twelve operations under a script, then clears it and writes and reads once more.
///
/// # Errors
/// What did not hold.
pub fn run(bytes: &[u8], parts: &[Part]) -> Result<(), String> {
    let mut u = Unstructured::new(bytes);
    let Ok(part) = u.choose(parts) else { return Ok(()) };
    let rig = Rig::new(RigConfig { scl_hz: part.scl_hz, supply_mv: part.supply_mv, seed: u.arbitrary().unwrap_or(0) });
    rig.set_trace(false);
    let chip = rig.attach_with(part.model.clone(), part.straps, PowerUp::Random);
    rig.set_write_cycle(chip, CycleTime::Drawn);
    let Ok(script) = script(&mut u, chip, part) else { return Ok(()) };
    let mut bench = Bench::new(part, rig, chip, &script);
    bench.rig.set_faults(Faults { script, ..Faults::default() }).map_err(|place| place.to_string())?;
    bench.operate(&mut u).map_err(|reason| format!("{}: {reason}", part.model.name))?;
    bench.after_the_faults().map_err(|reason| format!("{}: after the faults: {reason}", part.model.name))
}

fn script(u: &mut Unstructured<'_>, chip: ChipId, part: &Part) -> Drawn<Vec<Fault>> {
    let capacity = part.geometry.capacity_bytes();
    let mut script = Vec::new();
    for _ in 0..u.int_in_range(0..=6)? {
        let byte = u.int_in_range(0..=200)?;
        let cycle = u.int_in_range(0..=8)?;
        let from_ns = u.int_in_range(0..=HELD_NS)?;
        let until_ns = from_ns + u.int_in_range(0..=HELD_NS)?;
        let offset = u.int_in_range(0..=capacity - 1)?;
        script.push(match u.int_in_range(0..=9u8)? {
            0..=2 => Fault::Nack { byte },
            3 => Fault::LongCycle { chip, cycle, lasts_ns: u.int_in_range(0..=HELD_NS)? },
            4 => Fault::LongCycle { chip, cycle, lasts_ns: u64::MAX },
            5 => Fault::WriteDoesNotStick { chip, cycle },
            6 => Fault::SclLow { from_ns, until_ns },
            7 => Fault::SdaLow { from_ns, until_ns },
            8 => Fault::Flip { byte, mask: u.arbitrary()? },
            _ => Fault::StuckBits { chip, offset, mask: u.arbitrary()?, value: u.arbitrary()? },
        });
    }
    Ok(script)
}

struct Bench<'a> {
    part: &'a Part,
    rig: Rig,
    chip: ChipId,
    driver: Driver,
    /// What each byte may hold: what was stored last, and what was tried since.
    may_hold: Vec<Vec<u8>>,
    /// No wrong bits travel, so that what is stored can be told.
    bits_are_right: bool,
    /// Each acknowledged page write is stored.
    writes_stick: bool,
}

impl<'a> Bench<'a> {
    fn new(part: &'a Part, rig: Rig, chip: ChipId, script: &[Fault]) -> Self {
        let driver = Driver::new(rig.bus(), rig.delay(), part.geometry, Options::new());
        let may_hold = rig.memory(chip).into_iter().map(|byte| vec![byte]).collect();
        let has = |kind: fn(&Fault) -> bool| script.iter().any(kind);
        let bits_are_right =
            !has(|fault| matches!(fault, Fault::Flip { .. } | Fault::SdaLow { .. } | Fault::StuckBits { .. }));
        let writes_stick = !has(|fault| matches!(fault, Fault::WriteDoesNotStick { .. }));
        Self { part, rig, chip, driver, may_hold, bits_are_right, writes_stick }
    }

    fn operate(&mut self, u: &mut Unstructured<'_>) -> Result<(), String> {
        for index in 0..12 {
            if u.is_empty() {
                break;
            }
            let Ok((kind, offset, length, seed)) = self.draw(u) else { break };
            let before_ns = self.rig.now_ns();
            let at =
                |reason: String| format!("operation {index} (kind {kind}, {length} bytes at {offset:#06x}): {reason}");
            self.one(kind, offset, length, seed).map_err(at)?;
            let took_ns = self.rig.now_ns() - before_ns;
            let bound_ns = self.bound_ns(length);
            if took_ns > bound_ns {
                return Err(at(format!("took {took_ns} ns, at most {bound_ns} ns are allowed")));
            }
        }
        Ok(())
    }

    fn draw(&self, u: &mut Unstructured<'_>) -> Drawn<(u8, u32, usize, u8)> {
        let writable = &self.part.writable;
        let kind = u.int_in_range(0..=3)?;
        let offset = u.int_in_range(writable.start..=writable.end)?;
        let length = u.int_in_range(0..=MOST_BYTES)?.min((writable.end - offset) as usize);
        Ok((kind, offset, length, u.arbitrary()?))
    }

    fn one(&mut self, kind: u8, offset: u32, length: usize, seed: u8) -> Result<(), String> {
        let range = offset as usize..offset as usize + length;
        if kind == 0 {
            let mut found = vec![0; length];
            let read = self.driver.read(offset, &mut found).is_ok();
            let wrong = range.clone().find(|at| !self.may_hold[*at].contains(&found[at - range.start]));
            return match wrong {
                Some(at) if read && self.bits_are_right => Err(format!(
                    "byte {at:#06x} reads {:#04x}, may hold {:02x?}",
                    found[at - range.start],
                    self.may_hold[at]
                )),
                _ => Ok(()),
            };
        }
        let bytes: Vec<u8> = (0..length).map(|at| seed.wrapping_add((at % 251) as u8)).collect();
        let (stored, proven) = match kind {
            1 => (self.driver.write(offset, &bytes).is_ok(), self.writes_stick),
            2 => (self.driver.write_verified(offset, &bytes).is_ok(), true),
            _ => (self.driver.update_trusting(offset, &bytes).is_ok(), self.writes_stick),
        };
        for (at, byte) in range.zip(&bytes) {
            if !(stored && proven) {
                self.may_hold[at].push(*byte);
            } else {
                self.may_hold[at] = vec![*byte];
            }
        }
        if stored && proven && self.bits_are_right { self.memory_allowed() } else { Ok(()) }
    }

    fn memory_allowed(&self) -> Result<(), String> {
        let memory = self.rig.memory(self.chip);
        match (0..memory.len()).find(|at| !self.may_hold[*at].contains(&memory[*at])) {
            Some(at) => {
                Err(format!("the part holds {:#04x} at {at:#06x}, may hold {:02x?}", memory[at], self.may_hold[at]))
            }
            None => Ok(()),
        }
    }

    /// Each access may wait twice (for an earlier call, for itself), and be repeated once; every held line holds up all.
    fn bound_ns(&self, length: usize) -> u64 {
        let geometry = &self.part.geometry;
        let pages = (length as u32 / geometry.page_bytes() + 2) as u64;
        let blocks = (length as u32 / geometry.sequential_read_bytes() + 2) as u64;
        let accesses = 2 * (pages + blocks);
        let bit_ns = 1_000_000_000 / u64::from(self.part.scl_hz);
        let polls = u64::from(geometry.write_cycle_us()) * 5 / 4 / 50 + 2;
        let wait_ns = polls * (50_000 + 40 * bit_ns);
        // A script has at most six entries.
        6 * 2 * HELD_NS + accesses * (2 * wait_ns + 200 * bit_ns) + 4 * length as u64 * 9 * bit_ns
    }

    fn after_the_faults(mut self) -> Result<(), String> {
        self.rig.clear_faults();
        self.rig.advance_ns(2 * HELD_NS);
        self.rig.power_cycle();
        let mut bus = self.rig.bus();
        bus.recover();
        let mut driver = Driver::new(bus, self.rig.delay(), self.part.geometry, Options::new());
        let writable = &self.part.writable;
        let length = (writable.end - writable.start).min(2 * self.part.geometry.page_bytes()).min(600) as usize;
        let bytes: Vec<u8> = (0..length).map(|at| (at % 251) as u8 ^ 0xA5).collect();
        driver.write_verified(writable.start, &bytes).map_err(|error| error.to_string())?;
        self.driver = driver;
        let at = writable.start as usize;
        if self.rig.memory(self.chip)[at..at + length] == bytes[..] {
            Ok(())
        } else {
            Err("what was written and verified is not there".into())
        }
    }
}

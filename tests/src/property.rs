//! The property: whatever is done, the part holds what a plain byte array holds, nothing is reported, and each
//! operation ends in bounded time.

use pagewise_driver::{Eeprom, Options, Wait};
use pagewise_part::card::Card;
use pagewise_simulator::{ChipId, NackKind, PowerUp, Quirks, Rig, RigBus, RigConfig, RigDelay};

use crate::operations::{BUFFERS, Op, Scenario};
use crate::seat::Seat;

/// What may be asked from a program that uses a part; errors as text.
pub trait Program {
    /// Random and sequential read.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn read(&mut self, offset: u32, into: &mut [u8]) -> Result<(), String>;

    /// Write.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String>;

    /// Write and read back.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        self.write(offset, bytes)
    }

    /// The same byte many times.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), String> {
        self.write(offset, &vec![byte; length])
    }

    /// Write only what differs.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn update(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        self.write(offset, bytes)
    }

    /// Whether the part holds these bytes.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<bool, String> {
        let mut found = vec![0; bytes.len()];
        self.read(offset, &mut found)?;
        Ok(found == bytes)
    }

    /// Current address read; `false` where the program or the part has none.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn current_read(&mut self, into: &mut [u8]) -> Result<bool, String>;

    /// Returns when the part is ready.
    ///
    /// # Errors
    /// Whatever the program reports.
    fn wait_ready(&mut self) -> Result<(), String>;
}

impl<const BUF: usize> Program for Eeprom<RigBus, RigDelay, BUF> {
    fn read(&mut self, offset: u32, into: &mut [u8]) -> Result<(), String> {
        Eeprom::read(self, offset, into).map_err(|error| error.to_string())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        Eeprom::write(self, offset, bytes).map_err(|error| error.to_string())
    }

    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        Eeprom::write_verified(self, offset, bytes).map_err(|error| error.to_string())
    }

    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), String> {
        Eeprom::fill(self, offset, length, byte).map_err(|error| error.to_string())
    }

    fn update(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        Eeprom::update_trusting(self, offset, bytes).map(drop).map_err(|error| error.to_string())
    }

    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<bool, String> {
        Eeprom::compare(self, offset, bytes).map(|found| found.is_none()).map_err(|error| error.to_string())
    }

    fn current_read(&mut self, into: &mut [u8]) -> Result<bool, String> {
        match Eeprom::current_address_read(self, into) {
            Ok(()) => Ok(true),
            Err(pagewise_driver::Error::Unsupported) if self.geometry().word_address_bytes() == 0 => Ok(false),
            Err(error) => Err(error.to_string()),
        }
    }

    fn wait_ready(&mut self) -> Result<(), String> {
        Eeprom::wait_ready(self).map_err(|error| error.to_string())
    }
}

/// The driver under test, as a scenario wants it.
///
/// # Panics
/// If the scenario names a buffer that is not in [`BUFFERS`].
#[must_use]
pub fn driver(seat: &Seat, scenario: &Scenario, bus: RigBus, delay: RigDelay) -> Box<dyn Program> {
    let options = options(scenario);
    const LARGE: usize = BUFFERS[0];
    const MIDDLE: usize = BUFFERS[1];
    const SMALL: usize = BUFFERS[2];
    match scenario.buffer {
        LARGE => Box::new(Eeprom::<_, _, LARGE>::new(bus, delay, seat.geometry, options)),
        MIDDLE => Box::new(Eeprom::<_, _, MIDDLE>::new(bus, delay, seat.geometry, options)),
        SMALL => Box::new(Eeprom::<_, _, SMALL>::new(bus, delay, seat.geometry, options)),
        other => panic!("no driver with a buffer of {other} bytes"),
    }
}

/// The driver's options that suit a scenario's HAL.
#[must_use]
pub fn options(scenario: &Scenario) -> Options {
    // A HAL that cannot tell a missing ACK from a broken bus leaves only the fixed wait.
    let fixed = scenario.fixed_wait || scenario.nack == NackKind::Bus;
    Options::new()
        .with_max_transfer_bytes(scenario.max_transfer.unwrap_or(usize::MAX))
        .with_other_is_nack(scenario.nack == NackKind::Other)
        .with_wait(if fixed { Wait::Fixed } else { Wait::Poll })
        .with_poll_interval_us(scenario.poll_interval_us)
        .with_lazy(scenario.lazy)
        .with_split_pages(true)
}

/// A rig with the part, its neighbours, and the byte array that it must equal.
struct Bench<'a> {
    seat: &'a Seat,
    scenario: &'a Scenario,
    rig: Rig,
    chip: ChipId,
    sibling: Option<(ChipId, Vec<u8>)>,
    array: Vec<u8>,
    /// Where the part's pointer must stand, if that is certain.
    pointer: Option<u32>,
}

/// Runs a scenario on a card's part with the program that `make` gives.
///
/// # Errors
/// What did not hold, at which operation.
pub fn holds<M>(card: &Card, scenario: &Scenario, make: M) -> Result<(), String>
where
    M: Fn(&Seat, &Scenario, RigBus, RigDelay) -> Box<dyn Program>,
{
    let seat = &Seat::new(card, scenario.pins, scenario.corner);
    let mut bench = Bench::new(seat, scenario);
    let new_program = |rig: &Rig| make(seat, scenario, rig.bus_with(quirks(scenario)), rig.delay());
    let mut program = new_program(&bench.rig);
    for (index, op) in scenario.ops.iter().enumerate() {
        let at = |reason: String| format!("{} (operation {index}, {op:?}): {reason}", card.id);
        if matches!(op, Op::PowerCycle) {
            program.wait_ready().map_err(at)?;
            bench.rig.power_cycle();
            bench.pointer = None;
            program = new_program(&bench.rig);
        } else {
            bench.perform(&mut *program, op).map_err(at)?;
        }
    }
    program.wait_ready().map_err(|reason| format!("{} (at the end): {reason}", card.id))?;
    bench.finish().map_err(|reason| format!("{} (at the end): {reason}", card.id))
}

fn quirks(scenario: &Scenario) -> Quirks {
    Quirks {
        nack: scenario.nack,
        adjacent_writes: scenario.adjacent_writes,
        zero_length: scenario.zero_length,
        max_transfer: scenario.max_transfer,
        over_limit: scenario.over_limit,
        ..Quirks::default()
    }
}

impl<'a> Bench<'a> {
    fn new(seat: &'a Seat, scenario: &'a Scenario) -> Self {
        let config = RigConfig { scl_hz: seat.scl_hz, supply_mv: seat.supply_mv, seed: scenario.seed };
        let rig = Rig::new(config);
        rig.set_trace(false);
        let contents = || if scenario.random_contents { PowerUp::Random } else { PowerUp::Erased };
        let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), contents());
        rig.set_write_cycle(chip, scenario.cycle);
        let mut taken = seat.card.answers(seat.pins);
        let other_seats = (0..8).map(|pins| Seat::new(&seat.card, pins, scenario.corner));
        let apart = other_seats.into_iter().find(|other| {
            scenario.sibling && seat.card.answers(other.pins).iter().all(|address| !taken.contains(address))
        });
        let sibling = apart.map(|other| {
            let id = rig.attach_with(other.card.chip_model(), other.straps(), PowerUp::Random);
            taken.extend(other.card.answers(other.pins));
            (id, rig.memory(id))
        });
        for address in scenario.neighbours.iter().filter(|address| !taken.contains(address)) {
            rig.attach_other(*address, "neighbour");
        }
        let array = rig.memory(chip);
        Self { seat, scenario, rig, chip, sibling, array, pointer: None }
    }

    fn perform(&mut self, program: &mut dyn Program, op: &Op) -> Result<(), String> {
        let whole = 0..self.seat.geometry.capacity_bytes();
        let start = self.rig.now_ns();
        let length = match *op {
            Op::Write(place, length, byte) => {
                let (offset, bytes) = self.new_bytes(place.resolve(self.seat, length, &self.seat.writable), byte);
                program.write(offset, &bytes)?;
                bytes.len()
            }
            Op::WriteVerified(place, length, byte) => {
                let (offset, bytes) = self.new_bytes(place.resolve(self.seat, length, &self.seat.writable), byte);
                program.write_verified(offset, &bytes)?;
                bytes.len()
            }
            Op::Update(place, length, byte) => {
                let (offset, bytes) = self.new_bytes(place.resolve(self.seat, length, &self.seat.writable), byte);
                program.update(offset, &bytes)?;
                bytes.len()
            }
            Op::Fill(place, length, byte) => {
                let (offset, length) = place.resolve(self.seat, length, &self.seat.writable);
                self.array[offset as usize..][..length].fill(byte);
                program.fill(offset, length, byte)?;
                length
            }
            Op::Compare(place, length) => {
                let (offset, length) = place.resolve(self.seat, length, &whole);
                if !program.compare(offset, &self.array[offset as usize..][..length])? {
                    return Err(format!("{length} bytes at {offset:#06x} are not what was written"));
                }
                length
            }
            Op::Read(place, length) => {
                let (offset, length) = place.resolve(self.seat, length, &whole);
                self.read(program, offset, length)?;
                length
            }
            Op::CurrentRead(length) => self.current_read(program, length)?,
            Op::OutOfRange(raw) => return self.out_of_range(program, raw),
            Op::Pause(us) => {
                self.rig.advance_ns(u64::from(us) * 1000);
                return Ok(());
            }
            Op::PowerCycle => return Ok(()),
        };
        if !matches!(op, Op::Read(..) | Op::CurrentRead(_)) && length > 0 {
            self.pointer = None;
        }
        self.in_time(length, self.rig.now_ns() - start)?;
        self.memory_when_idle()
    }

    /// Bytes that differ from place to place, noted in the array.
    fn new_bytes(&mut self, (offset, length): (u32, usize), byte: u8) -> (u32, Vec<u8>) {
        // The period is a prime, so that nothing that falls on a wrong page looks right.
        let bytes: Vec<u8> = (0..length).map(|index| byte.wrapping_add((index % 251) as u8)).collect();
        self.array[offset as usize..][..length].copy_from_slice(&bytes);
        (offset, bytes)
    }

    fn read(&mut self, program: &mut dyn Program, offset: u32, length: usize) -> Result<(), String> {
        let mut found = vec![0x5A; length];
        program.read(offset, &mut found)?;
        self.same(offset, &found)?;
        if length > 0 {
            self.pointer = Some(offset + length as u32);
        }
        Ok(())
    }

    fn current_read(&mut self, program: &mut dyn Program, length: u32) -> Result<usize, String> {
        // At the end of a block the pointer wraps and a read rolls over: that is the part, not the driver.
        let block = self.seat.geometry.sequential_read_bytes();
        let Some(pointer) = self.pointer.filter(|pointer| pointer % block != 0) else { return Ok(0) };
        let length = length.min(block - pointer % block) as usize;
        let mut found = vec![0x5A; length];
        if program.current_read(&mut found)? {
            self.same(pointer, &found)?;
            self.pointer = Some(pointer + length as u32);
        }
        Ok(length)
    }

    fn out_of_range(&mut self, program: &mut dyn Program, raw: u32) -> Result<(), String> {
        let capacity = self.seat.geometry.capacity_bytes();
        let start = self.rig.now_ns();
        let beyond = (raw % 5) as usize;
        for (offset, length) in [(capacity, 1 + beyond), (capacity - 1, 2 + beyond), (u32::MAX - raw % 3, 1 + beyond)] {
            if program.read(offset, &mut vec![0; length]).is_ok() || program.write(offset, &vec![0; length]).is_ok() {
                return Err(format!("{length} bytes at {offset:#x} are accepted"));
            }
        }
        if self.rig.now_ns() == start { Ok(()) } else { Err("something was sent for a request out of range".into()) }
    }

    fn same(&self, offset: u32, found: &[u8]) -> Result<(), String> {
        let wanted = &self.array[offset as usize..][..found.len()];
        match wanted.iter().zip(found).position(|(wanted, found)| wanted != found) {
            None => Ok(()),
            Some(at) => Err(format!(
                "reading {} bytes at {offset:#06x}: byte {at} is {:#04x} instead of {:#04x}",
                found.len(),
                found[at],
                wanted[at]
            )),
        }
    }

    /// Every access may cost one write cycle with margin, one pause, and its bits; twice, for reading back.
    fn in_time(&self, length: usize, took_ns: u64) -> Result<(), String> {
        if length == 0 {
            return if took_ns == 0 { Ok(()) } else { Err("an empty request takes time".into()) };
        }
        let geometry = &self.seat.geometry;
        let limit = self.scenario.max_transfer.unwrap_or(usize::MAX).min(self.scenario.buffer);
        let data_max = limit - usize::from(geometry.word_address_bytes());
        let units = [data_max, geometry.page_bytes() as usize, geometry.sequential_read_bytes() as usize];
        let accesses = 2 + units.iter().map(|unit| length / unit + 1).sum::<usize>() as u64;
        let bit_ns = 1_000_000_000 / u64::from(self.seat.scl_hz);
        let wait_ns = u64::from(geometry.write_cycle_us()) * 1250 + u64::from(self.scenario.poll_interval_us) * 1000;
        let bound_ns = accesses * (wait_ns + 120 * bit_ns) + 2 * length as u64 * 9 * bit_ns;
        if took_ns <= bound_ns { Ok(()) } else { Err(format!("took {took_ns} ns, at most {bound_ns} ns are allowed")) }
    }

    /// Between operations the memory of a small part is looked at directly, so that a loss is found where it happens.
    fn memory_when_idle(&self) -> Result<(), String> {
        if self.array.len() > 4096 || self.rig.busy(self.chip) {
            return Ok(());
        }
        self.memory()
    }

    fn memory(&self) -> Result<(), String> {
        let found = self.rig.memory(self.chip);
        match self.array.iter().zip(&found).position(|(wanted, found)| wanted != found) {
            None => Ok(()),
            Some(at) => {
                Err(format!("the part holds {:#04x} instead of {:#04x} at {at:#06x}", found[at], self.array[at]))
            }
        }
    }

    fn finish(&self) -> Result<(), String> {
        self.memory()?;
        if let Some((id, before)) = &self.sibling
            && self.rig.memory(*id) != *before
        {
            return Err("another part on the bus has changed".into());
        }
        match self.rig.finish().first() {
            None => Ok(()),
            Some(incident) => Err(format!("{}: {}", incident.hazard, incident.text)),
        }
    }
}

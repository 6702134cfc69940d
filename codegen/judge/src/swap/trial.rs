//! One run of a board's firmware on one simulated chip.

use std::cell::Cell;

use pagewise_simulator::{AdjacentWrites, ChipId, CycleTime, Hazard, Level, PowerUp, Quirks, Rig, RigConfig, Straps};

use super::evidence::Run;
use super::firmware::{Log, Runner};
use super::part::Part;
use super::watched::{TRACED_NS, Watched, Window, transfer_text};
use crate::board::{Board, Region, Strap, Wait, WriteShape};

/// What the old contents outside the regions are: no code of ours writes this byte there.
pub(super) const BACKGROUND: u8 = 0xFE;

/// Lost bytes that are looked into: more than any page, so that the first loss is told whole.
pub(super) const LOOKED_AT: usize = 512;

/// How long the supply is off before a board starts, so that every part has forgotten its pointer.
const SUPPLY_OFF_NS: u64 = 1_000_000;

/// Seed of what a run draws: levels of open pins, the pointer at power-up.
const SEED: u64 = 7;

/// Regions that are written at run time.
pub(super) fn written(board: &Board) -> impl Iterator<Item = &Region> {
    board.regions.iter().filter(|region| region.writes_per_day > 0.0)
}

/// The byte meant for an offset. The period is a prime, so that no shift by a power of two goes unnoticed, and no
/// byte is 0xFF (erased) or the background.
#[must_use]
pub fn meant_for(offset: u32) -> u8 {
    (offset.wrapping_mul(7).wrapping_add(offset / 251 * 31) % 251) as u8
}

/// Runs the board's firmware on one part: writes every region that is written at run time, reads every region.
#[must_use]
pub fn run(board: &Board, part: &Part, reads_on_at: Option<&[u32]>) -> Run {
    told(board, part, reads_on_at).0
}

/// The run that counts, with the seed that it was made with.
pub(super) fn told(board: &Board, part: &Part, reads_on_at: Option<&[u32]>) -> (Run, u64) {
    let first = attempt(board, part, reads_on_at, SEED, true);
    // Firmware that never sets the whole pointer may find it by luck where it should stand; not twice.
    let lucky = board.firmware.word_address_bytes != part.model.word_address_bytes;
    if first.serves && lucky {
        let second = attempt(board, part, reads_on_at, SEED + 1, true);
        if !second.serves {
            return (second, SEED + 1);
        }
    }
    (first, SEED)
}

/// Whether the part serves, without a word on why it does not: enough for the rungs of the ladder.
pub fn serves(board: &Board, part: &Part) -> Option<Run> {
    // No need to run what cannot serve however it goes.
    if too_small(board, part) || part.unpromised.is_some() {
        return None;
    }
    let first = attempt(board, part, None, SEED, false);
    first.serves.then_some(first)
}

fn attempt(board: &Board, part: &Part, reads_on_at: Option<&[u32]>, seed: u64, explained: bool) -> Run {
    let (rig, chip, before) = set_up(board, part, seed);
    let log = match part.unpromised {
        Some(_) => Log { errors: 1, ..Log::default() },
        None => execute(board, &rig, chip, reads_on_at, Window::NEVER),
    };
    let after = After { wanted: wanted(board, before), memory: rig.memory(chip) };
    let nothing_lost = log.errors == 0 && log.misread.is_none() && after.damaged().is_none();
    if explained || nothing_lost {
        rig.finish();
    }
    let run = outcome(board, part, &rig, &log, &after, explained);
    if run.serves || !explained {
        return run;
    }
    let first = rig.incidents().first().map(|incident| incident.at_ns);
    let transaction = first.and_then(|at_ns| transfer_at(board, part, reads_on_at, seed, at_ns));
    Run { transaction, ..run }
}

/// The transfer on the bus at a time of a run, as text. The trace costs more than the run, so the run was without, and
/// is repeated here up to that time with the trace on for the end of it.
fn transfer_at(board: &Board, part: &Part, reads_on_at: Option<&[u32]>, seed: u64, at_ns: u64) -> Option<String> {
    if part.unpromised.is_some() {
        return None;
    }
    [at_ns.saturating_sub(TRACED_NS), 0].into_iter().find_map(|from_ns| {
        let (rig, chip, _) = set_up(board, part, seed);
        execute(board, &rig, chip, reads_on_at, Window { from_ns, until_ns: at_ns });
        transfer_text(&rig.trace(), at_ns)
    })
}

/// A rig with the part in the board, and the memory it begins with. The trace is off.
pub(super) fn set_up(board: &Board, part: &Part, seed: u64) -> (Rig, ChipId, Vec<u8>) {
    let bus = &board.bus;
    let rig = Rig::new(RigConfig { scl_hz: bus.scl_khz * 1000, supply_mv: bus.supply_mv, seed });
    rig.set_trace(false);
    let mut before = vec![BACKGROUND; part.model.capacity as usize];
    for region in board.regions.iter().filter(|region| region.writes_per_day == 0.0) {
        fill(&mut before, region);
    }
    let chip = rig.attach_with(part.model.clone(), straps(board, part), PowerUp::Image(before.clone()));
    rig.set_write_cycle(chip, CycleTime::Max);
    for address in &board.bus.other_addresses {
        rig.attach_other(*address, "neighbour");
    }
    if let Some(us) = board.firmware.first_access_us {
        // Not `power_cycle`, which waits until the part is ready: here the firmware must.
        rig.set_supply_mv(0);
        rig.advance_ns(SUPPLY_OFF_NS);
        rig.set_supply_mv(bus.supply_mv);
        rig.advance_ns(u64::from(us) * 1000);
    }
    (rig, chip, before)
}

/// Puts the bytes meant for a region into a memory, as far as it reaches.
fn fill(memory: &mut [u8], region: &Region) {
    for offset in region.offset..region.offset + region.length {
        if let Some(byte) = memory.get_mut(offset as usize) {
            *byte = meant_for(offset);
        }
    }
}

/// The whole array after a run.
struct After {
    wanted: Vec<u8>,
    memory: Vec<u8>,
}

impl After {
    /// The first byte that is not as it should be.
    fn damaged(&self) -> Option<usize> {
        // Comparing whole memories first is quick, and most are right.
        let same = self.wanted == self.memory;
        if same { None } else { self.wanted.iter().zip(&self.memory).position(|(wanted, found)| wanted != found) }
    }
}

/// The whole array as it should be after the run that began with `before`.
pub(super) fn wanted(board: &Board, mut before: Vec<u8>) -> Vec<u8> {
    written(board).for_each(|region| fill(&mut before, region));
    before
}

fn too_small(board: &Board, part: &Part) -> bool {
    board.used_bytes() > part.model.capacity
}

fn straps(board: &Board, part: &Part) -> Straps {
    let levels = board.pin_levels();
    let level = |pin: usize| match board.straps[pin] {
        Strap::Open => Level::Open,
        Strap::Gnd | Strap::Vcc | Strap::Gpio if levels[pin] => Level::High,
        _ => Level::Low,
    };
    let wp = match board.wp {
        Strap::Gnd => Level::Low,
        Strap::Vcc => Level::High,
        Strap::Open => Level::Open,
        Strap::Gpio => wp_level(part, true),
    };
    Straps { a: [level(0), level(1), level(2)], wp }
}

fn wp_level(part: &Part, protect: bool) -> Level {
    if part.model.write_protect.active_high == protect { Level::High } else { Level::Low }
}

pub(super) fn execute(board: &Board, rig: &Rig, chip: ChipId, reads_on_at: Option<&[u32]>, traced: Window) -> Log {
    let settings = &board.firmware;
    let adjacent = match settings.write_shape {
        WriteShape::TwoRestarted => AdjacentWrites::Restart,
        WriteShape::OneBuffer | WriteShape::TwoJoined => AdjacentWrites::Joined,
    };
    let bus = Watched::new(rig, Quirks { adjacent_writes: adjacent, ..Quirks::default() }, traced);
    let clock = rig.clone();
    let misread = Cell::new(None);
    let mut runner = Runner::new(settings, bus, rig.delay(), move || clock.now_ns() / 1000);
    for (index, region) in written(board).enumerate() {
        let data: Vec<u8> = (region.offset..region.offset + region.length).map(meant_for).collect();
        rig.meant(chip, region.offset, &data);
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, Level::Low);
        }
        runner.write(region, &data);
        if let Some(wanted) = reads_on_at.and_then(|pointers| pointers.get(index)) {
            let memory = rig.memory(chip);
            let expected = memory.get(*wanted as usize).copied().unwrap_or(0xFF);
            match runner.read_on(region) {
                Some(found) if found != expected => misread.set(Some((*wanted, expected, found))),
                _ => {}
            }
        }
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, Level::High);
        }
    }
    for region in &board.regions {
        let data: Vec<u8> = (region.offset..region.offset + region.length).map(meant_for).collect();
        runner.read(region, &data);
    }
    for address in &board.bus.other_addresses {
        runner.visit(*address);
    }
    let mut log = runner.finish();
    log.misread = log.misread.or(misread.get());
    if matches!(settings.wait, Wait::Fixed { .. }) {
        log.overruns = 0;
    }
    log
}

fn outcome(board: &Board, part: &Part, rig: &Rig, log: &Log, after: &After, explained: bool) -> Run {
    let damaged = after.damaged();
    let incidents = rig.incidents();
    let mut hazards: Vec<Hazard> = incidents.iter().map(|incident| incident.hazard).collect();
    hazards.sort_unstable();
    hazards.dedup();
    let too_small = too_small(board, part);
    let explanation = if explained { rig.first_loss(LOOKED_AT) } else { None };
    let first_loss = explanation.map(|loss| loss.text).or_else(|| {
        let misread = log.misread.map(|(at, wanted, found)| {
            format!("the firmware reads {found:#04x} at {at:#06x} where {wanted:#04x} was stored")
        });
        let damage =
            damaged.map(|at| format!("{at:#06x} holds {:#04x} instead of {:#04x}", after.memory[at], after.wanted[at]));
        let errors = (log.errors > 0).then(|| format!("{} transfers were not acknowledged", log.errors));
        let small = too_small.then(|| format!("offset {:#06x} does not exist", board.used_bytes() - 1));
        let untied = part.unpromised.map(str::to_owned);
        untied
            .or(small)
            .or(damage)
            .or(misread)
            .or(errors)
            .or_else(|| incidents.first().map(|incident| incident.text.clone()))
    });
    let quiet = hazards.is_empty() && log.errors == 0 && log.overruns == 0;
    let serves = quiet && damaged.is_none() && log.misread.is_none() && !too_small;
    Run {
        serves,
        writes: log.writes,
        bytes: log.bytes,
        errors: log.errors,
        time_us: rig.now_ns() / 1000,
        hazards,
        first_loss: if serves { None } else { first_loss },
        transaction: None,
    }
}

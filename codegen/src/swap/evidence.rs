//! Evidence: the board's firmware, run against the old and the new simulated chip.
//!
//! The ladder: the firmware as it is; with its settings changed; with the straps changed too. The first rung on which
//! the new part serves is the simulated verdict. Assumptions that a proviso names are taken as fulfilled, and each is
//! then run again as bad as the assumption table has it, so that one can see what it would cost.

use std::cell::Cell;

use pagewise_simulator::{AdjacentWrites, ChipId, CycleTime, Hazard, Level, PowerUp, Quirks, Rig, RigConfig, Straps};
use serde::Serialize;

use super::firmware::{Log, Runner};
use super::watched::{TRACED_NS, Watched, Window, transfer_text};
use super::{Case, Verdict, as_it_works, remedy};
use crate::board::{Board, Firmware, Region, Strap, Wait, WriteShape};
use crate::card::{Card, Pointer};

/// What the old contents outside the regions are: no code of ours writes this byte there.
const BACKGROUND: u8 = 0xFE;

/// Lost bytes that are looked into: more than any page, so that the first loss is told whole.
const LOOKED_AT: usize = 512;

/// Seed of what a run draws: levels of open pins, the pointer at power-up.
const SEED: u64 = 7;

/// What the simulation showed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// The first rung of the ladder on which the new part serves.
    pub verdict: Verdict,
    /// The firmware as it is on the fitted part.
    pub old: Run,
    /// The firmware as it is on the candidate.
    pub new: Run,
    /// With changed settings, or changed straps too, where that was needed.
    pub changed: Option<Run>,
    /// The firmware as it is on the candidate with every assumption as bad as it can be, where one matters.
    pub worst_case: Option<Run>,
}

/// One run of a firmware on a part.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Everything stored and read back, nothing else touched, nothing reported.
    pub serves: bool,
    /// Page writes sent.
    pub writes: u32,
    /// Bytes written.
    pub bytes: u32,
    /// Bus errors met outside polling.
    pub errors: u32,
    /// Virtual time in microseconds.
    pub time_us: u64,
    /// Hazards that the detectors named.
    pub hazards: Vec<Hazard>,
    /// What went wrong first, in words.
    pub first_loss: Option<String>,
    /// The first failing transaction as the bus saw it.
    pub transaction: Option<String>,
}

/// What every candidate for a board is measured against.
#[derive(Debug, Clone)]
pub struct Baseline {
    old: Run,
    /// What the firmware expects to read when it reads on after a write: what it reads on the fitted part.
    pointers: Option<Vec<u32>>,
}

impl Baseline {
    /// Runs the firmware on the fitted part.
    #[must_use]
    pub fn of(board: &Board, old: &Card) -> Self {
        let reads_on = board.firmware.reads_on_after_write;
        let after = |region| pointer_after(&board.firmware, region, old);
        let pointers = reads_on.then(|| written(board).map(after).collect());
        Self { old: run(board, &as_it_works(board, old), None), pointers }
    }
}

/// Runs the ladder for a case: `granted` is the candidate with every proviso granted, `verdict` what the rules say.
#[must_use]
pub fn gather(case: &Case<'_>, granted: &Card, verdict: Verdict, baseline: &Baseline) -> Evidence {
    let board = case.board;
    let (old, expects) = (baseline.old.clone(), baseline.pointers.as_deref());
    let new = run(board, granted, expects);
    let mut evidence = Evidence { verdict: Verdict::DropIn, old, new, changed: None, worst_case: None };
    if *granted != case.new && verdict != Verdict::Reject {
        let worst = run(board, &case.new, expects);
        evidence.worst_case = (!worst.serves).then_some(worst);
    }
    if evidence.new.serves {
        return evidence;
    }
    if let Some(changed) = serves(&remedy::reconfigured(board, granted), granted) {
        return Evidence { verdict: Verdict::Reconfigure, changed: Some(changed), ..evidence };
    }
    let reworked = remedy::reworked(board, granted);
    if let Some(changed) = reworked.and_then(|reworked| serves(&reworked, granted)) {
        return Evidence { verdict: Verdict::Rework, changed: Some(changed), ..evidence };
    }
    Evidence { verdict: Verdict::Reject, ..evidence }
}

fn written(board: &Board) -> impl Iterator<Item = &Region> {
    board.regions.iter().filter(|region| region.writes_per_day > 0.0)
}

/// Where a part's pointer stands after the last page write of a region.
pub(super) fn pointer_after(firmware: &Firmware, region: &Region, card: &Card) -> u32 {
    let Some(last) = firmware.write_pieces(region).pop() else { return region.offset };
    let next = last.offset + last.length;
    let page = card.page_bytes.value;
    let wraps = card.pointer_after_write.value == Pointer::WrappedInPage && page < card.capacity_bytes.value;
    let pointer = if wraps && next % page == 0 { next - page } else { next };
    pointer % card.capacity_bytes.value
}

/// The byte meant for an offset. The period is a prime, so that no shift by a power of two goes unnoticed, and no
/// byte is 0xFF (erased) or the background.
#[must_use]
pub fn meant_for(offset: u32) -> u8 {
    (offset.wrapping_mul(7).wrapping_add(offset / 251 * 31) % 251) as u8
}

/// Runs the board's firmware on one part: writes every region that is written at run time, reads every region.
#[must_use]
pub fn run(board: &Board, card: &Card, reads_on_at: Option<&[u32]>) -> Run {
    let first = attempt(board, card, reads_on_at, SEED, true);
    // Firmware that never sets the whole pointer may find it by luck where it should stand; not twice.
    let lucky = board.firmware.word_address_bytes != card.word_address_bytes.value;
    if first.serves && lucky {
        let second = attempt(board, card, reads_on_at, SEED + 1, true);
        if !second.serves {
            return second;
        }
    }
    first
}

/// Whether the part serves, without a word on why it does not: enough for the rungs of the ladder.
fn serves(board: &Board, card: &Card) -> Option<Run> {
    // No need to run what cannot serve however it goes.
    if too_small(board, card) || nothing_promised(board, card).is_some() {
        return None;
    }
    let first = attempt(board, card, None, SEED, false);
    first.serves.then_some(first)
}

fn attempt(board: &Board, card: &Card, reads_on_at: Option<&[u32]>, seed: u64, explained: bool) -> Run {
    let (rig, chip, before) = set_up(board, card, seed);
    let log = match nothing_promised(board, card) {
        Some(_) => Log { errors: 1, ..Log::default() },
        None => execute(board, &rig, chip, reads_on_at, Window::NEVER),
    };
    if explained || nothing_lost(board, &rig, chip, &log, &before) {
        rig.finish();
    }
    let run = outcome(board, card, &rig, chip, &log, &before, explained);
    if run.serves || !explained {
        return run;
    }
    let first = rig.incidents().first().map(|incident| incident.at_ns);
    let transaction = first.and_then(|at_ns| transfer_at(board, card, reads_on_at, seed, at_ns));
    Run { transaction, ..run }
}

/// The transfer on the bus at a time of a run, as text. The trace costs more than the run, so the run was without, and
/// is repeated here up to that time with the trace on for the end of it.
fn transfer_at(board: &Board, card: &Card, reads_on_at: Option<&[u32]>, seed: u64, at_ns: u64) -> Option<String> {
    if nothing_promised(board, card).is_some() {
        return None;
    }
    [at_ns.saturating_sub(TRACED_NS), 0].into_iter().find_map(|from_ns| {
        let (rig, chip, _) = set_up(board, card, seed);
        execute(board, &rig, chip, reads_on_at, Window { from_ns, until_ns: at_ns });
        transfer_text(&rig.trace(), at_ns)
    })
}

/// A rig with the part in the board, and the memory it begins with. The trace is off.
fn set_up(board: &Board, card: &Card, seed: u64) -> (Rig, ChipId, Vec<u8>) {
    let bus = &board.bus;
    let rig = Rig::new(RigConfig { scl_hz: bus.scl_khz * 1000, supply_mv: bus.supply_mv, seed });
    rig.set_trace(false);
    let mut before = vec![BACKGROUND; card.capacity_bytes.value as usize];
    for region in board.regions.iter().filter(|region| region.writes_per_day == 0.0) {
        fill(&mut before, region);
    }
    let chip = rig.attach_with(card.chip_model(), straps(board, card), PowerUp::Image(before.clone()));
    rig.set_write_cycle(chip, CycleTime::Max);
    for address in &board.bus.other_addresses {
        rig.attach_other(*address, "neighbour");
    }
    if let Some(us) = board.firmware.first_access_us {
        rig.power_cycle();
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

fn nothing_lost(board: &Board, rig: &Rig, chip: ChipId, log: &Log, before: &[u8]) -> bool {
    log.errors == 0 && log.misread.is_none() && rig.memory(chip) == wanted(board, before)
}

/// The whole array as it should be after the run.
fn wanted(board: &Board, before: &[u8]) -> Vec<u8> {
    let mut wanted = before.to_vec();
    written(board).for_each(|region| fill(&mut wanted, region));
    wanted
}

fn too_small(board: &Board, card: &Card) -> bool {
    board.used_bytes() > card.capacity_bytes.value
}

/// Why the part's sheet promises nothing on this board: a pin that is not tied as demanded, too high a supply. A part
/// outside its limits is taken not to work at all.
fn nothing_promised(board: &Board, card: &Card) -> Option<&'static str> {
    let untied = card
        .required_straps
        .iter()
        .any(|(pin, high)| board.straps[usize::from(*pin)] != if *high { Strap::Vcc } else { Strap::Gnd });
    if untied {
        return Some("a pin is not tied as the part's sheet demands, so nothing is promised");
    }
    (board.bus.supply_mv > card.max_mv.value).then_some("the supply is above the part's limit, so nothing is promised")
}

fn straps(board: &Board, card: &Card) -> Straps {
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
        Strap::Gpio => wp_level(card, true),
    };
    Straps { a: [level(0), level(1), level(2)], wp }
}

fn wp_level(card: &Card, protect: bool) -> Level {
    if card.wp_active_high.value == protect { Level::High } else { Level::Low }
}

fn execute(board: &Board, rig: &Rig, chip: ChipId, reads_on_at: Option<&[u32]>, traced: Window) -> Log {
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

fn outcome(board: &Board, card: &Card, rig: &Rig, chip: ChipId, log: &Log, before: &[u8], explained: bool) -> Run {
    let wanted = wanted(board, before);
    let memory = rig.memory(chip);
    let damaged = wanted.iter().zip(&memory).position(|(wanted, found)| wanted != found);
    let incidents = rig.incidents();
    let mut hazards: Vec<Hazard> = incidents.iter().map(|incident| incident.hazard).collect();
    hazards.sort_unstable();
    hazards.dedup();
    let too_small = too_small(board, card);
    let explanation = if explained { rig.explain_at_most(LOOKED_AT) } else { Vec::new() };
    let first_loss = explanation.first().map(|loss| loss.text.clone()).or_else(|| {
        let misread = log.misread.map(|(at, wanted, found)| {
            format!("the firmware reads {found:#04x} at {at:#06x} where {wanted:#04x} was stored")
        });
        let damage = damaged.map(|at| format!("{at:#06x} holds {:#04x} instead of {:#04x}", memory[at], wanted[at]));
        let errors = (log.errors > 0).then(|| format!("{} transfers were not acknowledged", log.errors));
        let small = too_small.then(|| format!("offset {:#06x} does not exist", board.used_bytes() - 1));
        let untied = nothing_promised(board, card).map(str::to_owned);
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

//! One run of a board's firmware on one simulated chip, with all that it leaves behind.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{AdjacentWrites, ChipId, Event, Hazard, Loss, Quirks, Rig};
use schemars::JsonSchema;
use serde::Serialize;

use super::firmware::{Log, Runner};
use super::part::{NAME, Part};
use super::setup::{meant_in, set_up, wanted, wp_level, written};
use super::watched::{TRACED_NS, Watched, Window, as_text, transfer};
use crate::board::{Board, Strap, Wait, WriteShape};
use pagewise_part::card::Card;

/// Lost bytes that are looked into: more than any page, so that the first loss is told whole.
const LOOKED_AT: usize = 512;

/// Seed of what a run draws: levels of open pins, the pointer at power-up.
const SEED: u64 = 7;

/// What a run comes to.
#[derive(Debug, Clone, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Run {
    /// Everything stored and read back, nothing else touched, nothing reported.
    pub serves: bool,
    /// Nothing was run: outside what the part's sheet promises, no simulation says how it fails.
    pub spared: bool,
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
    /// Where the part's pointer stood after each region was written, as reads showed it; `None` where the part did not
    /// answer. Empty where the firmware sends an address with every read.
    #[serde(skip)]
    pub pointers: Vec<Option<u32>>,
}

/// A run with all that it leaves behind.
#[derive(Debug, Clone)]
pub struct Played {
    /// What it comes to.
    pub run: Run,
    /// The whole array as it should be afterwards.
    pub wanted: Vec<u8>,
    /// The whole array as it is.
    pub found: Vec<u8>,
    /// Why they differ, for the first bytes that do.
    pub losses: Vec<Loss>,
    /// The first failing transaction.
    pub transaction: Option<Transaction>,
}

/// One transfer, from START to STOP.
#[derive(Debug, Clone)]
pub struct Transaction {
    /// What was on the bus, and what the chips noted meanwhile.
    pub events: Vec<Event>,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// When the detector spoke.
    pub at_ns: u64,
    /// What the detector said.
    pub incident: String,
}

impl Run {
    /// How it ended: `serves`, `fails`, or `not run`.
    #[must_use]
    pub const fn outcome(&self) -> &'static str {
        match (self.serves, self.spared) {
            (true, _) => "serves",
            (false, true) => "not run",
            (false, false) => "fails",
        }
    }

    /// Puts the part's name where the run has the stand-in.
    pub(super) fn named(self, card: &Card) -> Self {
        Self { first_loss: self.first_loss.map(|text| text.replace(NAME, &card.name)), ..self }
    }
}

impl Played {
    /// The same with the part's name where the run has the stand-in.
    pub(super) fn named(self, card: &Card) -> Self {
        let renamed = |it: Transaction| Transaction { incident: it.incident.replace(NAME, &card.name), ..it };
        Self { run: self.run.named(card), transaction: self.transaction.map(renamed), ..self }
    }
}

/// Runs the board's firmware on one part: writes every region that is written at run time, reads every region.
/// `expects` is where the firmware takes the pointer to stand after each of those writes, if it reads on from there.
#[must_use]
pub fn play(board: &Board, part: &Part, expects: Option<&[Option<u32>]>) -> Played {
    let first = attempt(board, part, expects, SEED);
    // Firmware that never sets the whole pointer may find it by luck where it should stand; not twice.
    let lucky = board.firmware.word_address_bytes != part.model.word_address_bytes;
    if first.run.serves && lucky {
        let second = attempt(board, part, expects, SEED + 1);
        if !second.run.serves {
            return second;
        }
    }
    first
}

/// The run if the part serves, without a word on why it does not: enough for the rungs of the ladder.
#[must_use]
pub fn serves(board: &Board, part: &Part) -> Option<Run> {
    if part.unpromised.is_some() {
        return None;
    }
    let (rig, chip, before) = set_up(board, part, SEED);
    let course = execute(board, part, &rig, chip, Window::NEVER);
    let quiet = course.log.errors == 0 && course.log.misread.is_none();
    if !quiet || wanted(board, before) != rig.memory(chip) {
        return None;
    }
    rig.finish();
    let run = outcome(&rig, &course, None);
    run.serves.then_some(run)
}

fn attempt(board: &Board, part: &Part, expects: Option<&[Option<u32>]>, seed: u64) -> Played {
    let (rig, chip, before) = set_up(board, part, seed);
    let wanted = wanted(board, before);
    if let Some(why) = part.unpromised {
        let run = Run { spared: true, first_loss: Some(why.to_owned()), ..Run::default() };
        return Played { run, wanted, found: rig.memory(chip), losses: Vec::new(), transaction: None };
    }
    let course = execute(board, part, &rig, chip, Window::NEVER);
    let found = rig.memory(chip);
    rig.finish();
    let damage = first_difference(&wanted, &found);
    let damage = damage.map(|at| format!("{at:#06x} holds {:#04x} instead of {:#04x}", found[at], wanted[at]));
    let wrong = damage.or_else(|| course.misread()).or_else(|| course.strayed(expects)).or_else(|| course.refused());
    let mut run = outcome(&rig, &course, wrong);
    if run.serves {
        return Played { run, wanted, found, losses: Vec::new(), transaction: None };
    }
    let losses = rig.explain_at_most(LOOKED_AT);
    run.first_loss = losses.first().map(|loss| loss.text.clone()).or(run.first_loss);
    let transaction = first_incident(board, part, &rig, seed);
    run.transaction = transaction.as_ref().and_then(|it| as_text(&it.events));
    Played { run, wanted, found, losses, transaction }
}

fn first_difference(wanted: &[u8], found: &[u8]) -> Option<usize> {
    // Comparing whole memories first is quick, and most are right.
    let same = wanted == found;
    if same { None } else { wanted.iter().zip(found).position(|(wanted, found)| wanted != found) }
}

/// The transfer on the bus when a detector spoke first. The trace costs more than the run, so the run was without, and
/// is repeated here up to that time with the trace on for the end of it.
fn first_incident(board: &Board, part: &Part, run: &Rig, seed: u64) -> Option<Transaction> {
    let incident = run.incidents().into_iter().next()?;
    let (at_ns, scl_hz) = (incident.at_ns, board.bus.scl_khz * 1000);
    [at_ns.saturating_sub(TRACED_NS), 0].into_iter().find_map(|from_ns| {
        let (rig, chip, _) = set_up(board, part, seed);
        execute(board, part, &rig, chip, Window { from_ns, until_ns: at_ns });
        let events = transfer(&rig.trace(), at_ns)?.to_vec();
        Some(Transaction { events, scl_hz, at_ns, incident: incident.text.clone() })
    })
}

/// What the firmware met on its way.
struct Course {
    log: Log,
    pointers: Vec<Option<u32>>,
}

impl Course {
    fn misread(&self) -> Option<String> {
        let (at, wanted, found) = self.log.misread?;
        Some(format!("the firmware reads {found:#04x} at {at:#06x} where {wanted:#04x} was stored"))
    }

    /// The first place where the firmware reads on elsewhere than it expects.
    fn strayed(&self, expects: Option<&[Option<u32>]>) -> Option<String> {
        let mut pairs = self.pointers.iter().zip(expects?);
        let (found, wanted) = pairs.find(|(found, wanted)| found != wanted)?;
        let place = |pointer: &Option<u32>| pointer.map_or_else(|| "nowhere".to_owned(), |at| format!("{at:#06x}"));
        Some(format!("the firmware reads on at {}, on the fitted part at {}", place(found), place(wanted)))
    }

    fn refused(&self) -> Option<String> {
        let errors = self.log.errors;
        (errors > 0)
            .then(|| format!("{errors} transfer{} not acknowledged", if errors == 1 { " was" } else { "s were" }))
    }
}

fn execute(board: &Board, part: &Part, rig: &Rig, chip: ChipId, traced: Window) -> Course {
    let settings = &board.firmware;
    let adjacent = match settings.write_shape {
        WriteShape::TwoRestarted => AdjacentWrites::Restart,
        WriteShape::OneBuffer | WriteShape::TwoJoined => AdjacentWrites::Joined,
    };
    let bus = Watched::new(rig, Quirks { adjacent_writes: adjacent, ..Quirks::default() }, traced);
    let clock = rig.clone();
    let mut runner = Runner::new(settings, bus, rig.delay(), move || clock.now_ns() / 1000);
    let mut pointers = Vec::new();
    for region in written(board) {
        let data = meant_in(region);
        rig.meant(chip, region.offset, &data);
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, wp_level(part, false));
        }
        runner.write(region, &data);
        if settings.reads_on_after_write {
            pointers.push(pointer_of(rig, chip, runner.last_address(region)));
            runner.read_on(region);
        }
        if board.wp == Strap::Gpio {
            rig.set_wp(chip, wp_level(part, true));
        }
    }
    for region in &board.regions {
        runner.read(region, &meant_in(region));
    }
    for address in &board.bus.other_addresses {
        runner.visit(*address);
    }
    let mut log = runner.finish();
    if matches!(settings.wait, Wait::Fixed { .. }) {
        log.overruns = 0;
    }
    Course { log, pointers }
}

/// Where the part's pointer stands, read from it: in copies of the rig every byte of the memory says where it is.
fn pointer_of(rig: &Rig, chip: ChipId, address: u8) -> Option<u32> {
    let size = rig.memory(chip).len();
    (0..3).try_fold(0, |pointer, place| {
        let copy = rig.fork();
        let places: Vec<u8> = (0..size).map(|at| (at >> (8 * place)) as u8).collect();
        copy.load(chip, 0, &places);
        let mut byte = [0];
        copy.bus().read(address, &mut byte).ok()?;
        Some(pointer | u32::from(byte[0]) << (8 * place))
    })
}

/// What a run comes to, if `wrong` is what went wrong apart from what the detectors report.
fn outcome(rig: &Rig, course: &Course, wrong: Option<String>) -> Run {
    let incidents = rig.incidents();
    let mut hazards: Vec<Hazard> = incidents.iter().map(|incident| incident.hazard).collect();
    hazards.sort_unstable();
    hazards.dedup();
    let log = &course.log;
    let serves = wrong.is_none() && hazards.is_empty() && log.overruns == 0;
    let reported = || incidents.first().map(|incident| incident.text.clone());
    Run {
        serves,
        spared: false,
        writes: log.writes,
        bytes: log.bytes,
        errors: log.errors,
        time_us: rig.now_ns() / 1000,
        hazards,
        first_loss: if serves { None } else { wrong.or_else(reported) },
        transaction: None,
        pointers: course.pointers.clone(),
    }
}

//! The bench after a step, as a page or a terminal shows it.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::string::String;
use alloc::vec::Vec;

use pagewise_simulator::{ChipState, Hazard};
use serde::Serialize;

use crate::outcome::BusEvent;
use crate::play::{Run, meant};
use crate::player::Player;
use crate::program::Place;

/// Bytes in a row.
pub const ROW: u32 = 16;
/// Rows that are shown.
const MOST_ROWS: usize = 40;
/// What was on the bus that is shown: the transfer under way, its latest part.
const MOST_BUS: usize = 300;
/// Incidents and losses that are shown.
const MOST_TOLD: usize = 40;

/// Sixteen bytes of the chip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Row {
    /// Offset of the first.
    pub offset: u32,
    /// What should be there at the end; `None` where nobody minds.
    pub meant: Vec<Option<u8>>,
    /// What is there; `None` beyond the part.
    pub found: Vec<Option<u8>>,
    /// What waits in the page latch, or is being programmed.
    pub coming: Vec<Option<u8>>,
}

/// What a detector said, and where the program stood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Told {
    /// Step, from 1.
    pub step: usize,
    /// Where the program stood; line 0 is its end.
    pub place: Place,
    /// The hazard.
    pub hazard: Hazard,
    /// What happened, with the numbers.
    pub text: String,
}

/// One chip and its bus after a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LaneView {
    /// Name of the part.
    pub part: String,
    /// Steps played.
    pub step: usize,
    /// What the last step did; absent before the first.
    pub place: Option<Place>,
    /// It was left out, since the chip had refused the transfer.
    pub skipped: bool,
    /// It came otherwise than the program takes for granted.
    pub surprise: bool,
    /// Time since power-up in nanoseconds.
    pub at_ns: u64,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// The chip seen from inside.
    pub chip: ChipState,
    /// What was on the bus in this transfer; the last `fresh` of it in this step.
    pub bus: Vec<BusEvent>,
    /// See `bus`.
    pub fresh: usize,
    /// Memory where something is meant, comes, or went.
    pub rows: Vec<Row>,
    /// More rows than are shown.
    pub more_rows: bool,
    /// What the detectors said so far.
    pub told: Vec<Told>,
    /// Where bytes went, at the end.
    pub losses: Vec<String>,
    /// Bytes that are not what they should be, at the end.
    pub lost: usize,
    /// Write cycles of the most worn place that is shown, and how many it is rated for.
    pub worn: (u64, u64),
    /// Bytes read so far.
    pub reads: Vec<u8>,
}

impl Run {
    /// One chip and its bus after so many steps.
    #[must_use]
    pub fn view(&self, steps: usize) -> LaneView {
        let steps = steps.min(self.log().len());
        let last = steps.checked_sub(1).map(|at| &self.log()[at]);
        let over = steps == self.log().len();
        let told = self.log()[..steps].iter().enumerate().flat_map(|(at, outcome)| {
            outcome.incidents.iter().map(move |incident| Told {
                step: at + 1,
                place: outcome.place,
                hazard: incident.hazard,
                text: incident.text.clone(),
            })
        });
        let told = told.take(MOST_TOLD).collect();
        let (bus, fresh) = self.bus(steps);
        self.at(steps, |player| {
            let chip = player.rig.chip_state(player.chip);
            let (rows, more_rows) = self.rows(player, &chip);
            let rated = self.bench().model.endurance_cycles;
            let worn = rows.iter().map(|row| player.rig.wear(player.chip, row.offset)).max().unwrap_or(0);
            LaneView {
                part: self.bench().model.name.clone(),
                step: steps,
                place: last.map(|outcome| outcome.place),
                skipped: last.is_some_and(|outcome| outcome.skipped),
                surprise: last.is_some_and(|outcome| outcome.surprise),
                at_ns: player.rig.now_ns(),
                supply_mv: player.rig.supply_mv(),
                chip,
                bus,
                fresh,
                rows,
                more_rows,
                told,
                losses: if over { self.loss_texts() } else { Vec::new() },
                lost: if over { self.lost().len() } else { 0 },
                worn: (worn, rated),
                reads: player.reads.iter().rev().take(MOST_BUS).rev().map(|(got, _)| *got).collect(),
            }
        })
    }

    fn loss_texts(&self) -> Vec<String> {
        self.losses().iter().take(MOST_TOLD).map(|loss| loss.text.clone()).collect()
    }

    /// The transfer under way after so many steps.
    fn bus(&self, steps: usize) -> (Vec<BusEvent>, usize) {
        let fresh = steps.checked_sub(1).map_or(0, |at| self.log()[at].bus.len());
        let mut events: Vec<BusEvent> = Vec::new();
        for outcome in self.log()[..steps].iter().rev() {
            events.splice(0..0, outcome.bus.iter().copied());
            if outcome.bus.first() == Some(&BusEvent::Start) || events.len() > MOST_BUS {
                break;
            }
        }
        let cut = events.len().saturating_sub(MOST_BUS);
        events.drain(..cut);
        (events, fresh.min(MOST_BUS))
    }

    fn rows(&self, player: &Player, chip: &ChipState) -> (Vec<Row>, bool) {
        let capacity = self.bench().model.capacity;
        let wanted = meant(&self.bench().board.holds, &self.bench().board.means);
        let latch = chip.latch.iter().flat_map(|latch| latch.bytes.iter().copied());
        let cycle = chip.cycle.iter().flat_map(|cycle| cycle.bytes.iter().copied());
        let coming: BTreeMap<u32, u8> = cycle.chain(latch).collect();
        let memory = player.rig.memory_as_read(player.chip);
        let mut starts: BTreeSet<u32> = wanted.keys().chain(coming.keys()).map(|at| at / ROW * ROW).collect();
        starts.extend(player.pages.iter().flat_map(|page| {
            let page = *page..page.saturating_add(self.bench().model.page.min(256));
            page.step_by(ROW as usize).filter(|at| written(&memory, *at))
        }));
        starts.insert(chip.pointer / ROW * ROW);
        let more = starts.len() > MOST_ROWS;
        let row = |offset: u32| {
            let each = |byte: &dyn Fn(u32) -> Option<u8>| (offset..offset + ROW).map(byte).collect();
            Row {
                offset,
                meant: each(&|at| wanted.get(&at).copied()),
                found: each(&|at| memory.get(at as usize).copied().filter(|_| at < capacity)),
                coming: each(&|at| coming.get(&at).copied()),
            }
        };
        (starts.into_iter().take(MOST_ROWS).map(row).collect(), more)
    }
}

/// Whether a row holds anything.
fn written(memory: &[u8], row: u32) -> bool {
    let row = row as usize;
    memory.get(row..row + ROW as usize).is_some_and(|bytes| bytes.iter().any(|byte| *byte != 0xFF))
}

/// The first step at which two chips on the same program differ: step, from 1.
#[must_use]
pub fn first_difference(one: &Run, other: &Run) -> Option<usize> {
    let differs = one.log().iter().zip(other.log()).position(|(a, b)| a.bus != b.bus || a.skipped != b.skipped);
    let lengths = one.log().len() != other.log().len();
    let shorter = one.log().len().min(other.log().len());
    let answers = differs.map(|at| at + 1).or_else(|| lengths.then_some(shorter));
    // On the bus a loss shows late or never: where memory differs is found by halving, since what is lost stays lost.
    let stored = |steps: usize| {
        let (a, b) = (one.memory_at(steps), other.memory_at(steps));
        let len = a.len().min(b.len());
        a[..len] == b[..len]
    };
    let limit = answers.unwrap_or(shorter);
    if stored(limit) {
        return answers;
    }
    let (mut same, mut differs) = (0, limit);
    while differs - same > 1 {
        let middle = same + (differs - same) / 2;
        if stored(middle) { same = middle } else { differs = middle }
    }
    Some(differs)
}

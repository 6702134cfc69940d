//! The course of a program on its bus, transfer by transfer, and what a loss of the supply at any moment of it leaves.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use crate::chip::torn::TornModel;
use crate::event::{Event, EventKind, Note};
use crate::hazard::Hazard;
use crate::rig::replay::BadTrace;
use crate::rig::{Rig, Snapshot};
use crate::supply::SupplyProfile;
use crate::trace::text;

/// A loss of the supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Cut {
    /// When, in nanoseconds since the bus was made.
    pub at_ns: u64,
    /// What a write cycle that runs then leaves.
    pub torn: TornModel,
    /// Seed of what is drawn for it.
    pub draws: u64,
}

/// A transfer, the time until the next one, and the bus as it was before.
#[derive(Debug, Clone)]
pub struct Step {
    before: Snapshot,
    events: Vec<Event>,
    /// The transfer: device address, bytes and acknowledge bits.
    pub line: String,
    /// When things happened until the next transfer: conditions and bytes on the bus, and the quarters of write cycles.
    pub moments: Vec<u64>,
}

impl Step {
    /// The step that is to come.
    #[must_use]
    pub fn before(rig: &Rig) -> Self {
        Self { before: rig.snapshot(), events: Vec::new(), line: String::new(), moments: Vec::new() }
    }

    /// What happened in it, now that it is over.
    pub fn over(&mut self, events: Vec<Event>) {
        let line = text::transfers(&events);
        let line = line.trim_end().lines().last().unwrap_or_default();
        self.line = line.find(" S ").map_or(line, |at| &line[at + 1..]).to_string();
        self.moments = moments(&events);
        self.events = events;
    }

    /// The state of the chips after a cut in this step, the supply off for a millisecond and on again: equal for states that
    /// no program can tell apart.
    #[must_use]
    pub fn state_after_cut(&self, cut: Cut) -> Vec<u8> {
        let rig = self.before.rig();
        // What is not a whole transfer cannot be made again: the chips are then as they were before.
        let _ = rig.replay_to_cut(&self.events, cut);
        let mut state = rig.kept();
        let torn_now = rig.incidents().iter().any(|seen| seen.hazard == Hazard::TornWrite);
        if cut.torn == TornModel::Unstable && torn_now {
            // Bytes that waver are not what they show now.
            state.extend(cut.at_ns.to_ne_bytes());
        }
        state
    }
}

/// The steps of a course from the trace of a whole program that ran on such a rig; `None` where the trace alone does not
/// make the chips do again what they did: the program also changed them, or moved the lines, by other ways than transfers.
#[must_use]
pub fn steps(rig: &Rig, events: &[Event]) -> Option<Vec<Step>> {
    let starts = events.iter().enumerate().filter(|(_, event)| event.kind == EventKind::Start).map(|(at, _)| at);
    let ends = starts.clone().skip(1).chain([events.len()]);
    let mut steps = Vec::new();
    // What comes before the first START belongs to the first step.
    for (from, to) in [0].into_iter().chain(starts.skip(1)).zip(ends) {
        let mut step = Step::before(rig);
        rig.replay(&events[from..to]).ok()?;
        step.over(events[from..to].to_vec());
        steps.push(step);
    }
    // The end of a write cycle is written down when somebody looks.
    let is_seen = |event: &Event| !matches!(event.kind, EventKind::Chip { note: Note::CycleEnd { .. }, .. });
    let again = rig.trace();
    let same = again.iter().filter(|event| is_seen(event)).eq(events.iter().filter(|event| is_seen(event)));
    same.then_some(steps)
}

/// Moments at which a cut is worth trying: every condition and byte, and the quarters of every write cycle.
fn moments(events: &[Event]) -> Vec<u64> {
    let mut moments = Vec::new();
    for event in events {
        match event.kind {
            EventKind::Start
            | EventKind::RepeatedStart
            | EventKind::Stop
            | EventKind::Address { .. }
            | EventKind::Write { .. }
            | EventKind::Read { .. } => moments.push(event.at_ns),
            EventKind::Chip { note: Note::CycleStart { ends_ns, .. }, .. } => {
                let quarter = ends_ns.saturating_sub(event.at_ns) / 4;
                moments.extend((1..4).map(|n| event.at_ns + n * quarter));
            }
            _ => {}
        }
    }
    moments.sort_unstable();
    moments.dedup();
    moments
}

/// The events up to a moment, and the rest of the transfer that is under way then.
fn up_to(events: &[Event], at_ns: u64) -> &[Event] {
    let begun = events.iter().rposition(|event| event.at_ns <= at_ns).map_or(0, |last| last + 1);
    let edges = |event: &Event| matches!(event.kind, EventKind::Start | EventKind::Stop);
    let open = events[..begun].iter().rfind(|event| edges(event)).is_some_and(|edge| edge.kind == EventKind::Start);
    let rest = events[begun..].iter().position(|event| event.kind == EventKind::Stop).filter(|_| open);
    &events[..begun + rest.map_or(0, |stop| stop + 1)]
}

impl Rig {
    /// Plays a trace up to a cut: the supply is lost then, off for a millisecond and on again at what it was, and the longest
    /// power-up time waited for. A transfer that is under way goes on without a chip.
    ///
    /// # Errors
    ///
    /// [`BadTrace`]; nothing is played.
    pub fn replay_to_cut(&self, events: &[Event], cut: Cut) -> Result<(), BadTrace> {
        let supply_mv = self.supply_mv();
        self.set_torn_model(cut.torn, cut.draws);
        self.set_supply_profile(&SupplyProfile::new().step(cut.at_ns, 0));
        let played = self.replay(up_to(events, cut.at_ns));
        self.advance_ns(cut.at_ns.saturating_sub(self.now_ns()));
        self.restore_supply_mv(supply_mv);
        played.map(|_| ())
    }

    /// What all chips keep without a supply.
    fn kept(&self) -> Vec<u8> {
        self.look(|world| {
            let mut kept = Vec::new();
            for chip in &world.chips {
                kept.extend(chip.array.to_vec());
                let regions = &chip.regions;
                regions.data.iter().for_each(|bytes| kept.extend(bytes));
                kept.extend(regions.locked.iter().chain(&regions.protection).map(|set| u8::from(*set)));
                kept.extend(
                    regions.secured.into_iter().flat_map(|range| [range.start, range.len]).flat_map(u32::to_le_bytes),
                );
            }
            kept
        })
    }
}

//! A run that can be made: once to see whether the part serves, and again, word by word, for whoever asks why it does not.

use pagewise_simulator::{ChipId, Event, Hazard, Loss, Rig};
use schemars::JsonSchema;
use serde::Serialize;

pub(super) use super::course::Stage;
use super::course::{Course, Extent, execute};
use super::firmware::Log;
use super::part::NAME;
use super::setup::{set_up, wanted};
use super::watched::{TRACED_NS, Window, as_text, transfer};

/// Lost bytes that are looked into: more than any page, so that the first loss is told whole.
const LOOKED_AT: usize = 512;

/// A rig after a run.
pub(super) struct Ran {
    pub(super) rig: Rig,
    chip: ChipId,
    wanted: Vec<u8>,
    pub(super) course: Course,
}

/// What a whole run shows: how much it did, and in words what went wrong.
#[derive(Debug, Clone, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Told {
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

/// All that a run leaves behind.
#[derive(Debug, Clone)]
pub(super) struct Aftermath {
    pub(super) told: Told,
    pub(super) wanted: Vec<u8>,
    pub(super) found: Vec<u8>,
    pub(super) losses: Vec<Loss>,
    pub(super) transaction: Option<Transaction>,
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

impl Told {
    /// Puts the part's name where the run has the stand-in.
    pub(super) fn named(self, name: &str) -> Self {
        Self { first_loss: self.first_loss.map(|text| text.replace(NAME, name)), ..self }
    }
}

impl Transaction {
    /// The same with the part's name where the run has the stand-in.
    pub(super) fn named(self, name: &str) -> Self {
        Self { incident: self.incident.replace(NAME, name), ..self }
    }
}

impl Stage<'_> {
    /// Runs it.
    pub(super) fn run(self, extent: Extent) -> Ran {
        let (rig, chip, before) = set_up(self.board, self.part, self.seed);
        let course = execute(self, &rig, chip, Window::NEVER, extent);
        Ran { rig, chip, wanted: wanted(self.board, before), course }
    }

    /// Runs it and tells all.
    pub(super) fn aftermath(self) -> Aftermath {
        let ran = self.run(Extent::Whole);
        let done = ran.done();
        let Ran { rig, chip, wanted, course } = ran;
        let found = rig.memory(chip);
        let (incidents, losses) = rig.finish_and_explain(LOOKED_AT);
        let mut hazards: Vec<Hazard> = incidents.iter().map(|incident| incident.hazard).collect();
        hazards.sort_unstable();
        hazards.dedup();
        let lost = || losses.first().map(|loss| loss.text.clone());
        let damage = || {
            let at = wanted.iter().zip(&found).position(|(wanted, found)| wanted != found)?;
            Some(format!("{at:#06x} holds {:#04x} instead of {:#04x}", found[at], wanted[at]))
        };
        let reported = || incidents.first().map(|incident| incident.text.clone());
        let first_loss = lost()
            .or_else(damage)
            .or_else(|| course.misread())
            .or_else(|| course.strayed(self.expects))
            .or_else(|| course.refused())
            .or_else(reported);
        let first = incidents.first();
        let transaction = first.and_then(|incident| self.transaction(incident.at_ns, incident.text.clone()));
        let text = transaction.as_ref().and_then(|it| as_text(&it.events));
        let told = Told { hazards, first_loss, transaction: text, ..done };
        Aftermath { told, wanted, found, losses, transaction }
    }

    /// The transfer on the bus when a detector spoke. The trace costs more than the run, so the run was without, and is
    /// repeated here up to that time with the trace on for the end of it.
    fn transaction(self, at_ns: u64, incident: String) -> Option<Transaction> {
        [at_ns.saturating_sub(TRACED_NS), 0].into_iter().find_map(|from_ns| {
            let (rig, chip, _) = set_up(self.board, self.part, self.seed);
            execute(self, &rig, chip, Window { from_ns, until_ns: at_ns }, Extent::Whole);
            let events = transfer(&rig.trace(), at_ns)?.to_vec();
            let scl_hz = self.board.bus.scl_khz * 1000;
            Some(Transaction { events, scl_hz, at_ns, incident: incident.clone() })
        })
    }
}

impl Ran {
    /// How much it did.
    pub(super) fn done(&self) -> Told {
        let Log { writes, bytes, errors, .. } = self.course.log;
        Told { writes, bytes, errors, time_us: self.rig.now_ns() / 1000, ..Told::default() }
    }

    /// Everything stored and read back, nothing else touched, nothing reported, no pointer elsewhere than `expects` says.
    pub(super) fn serves(&self, expects: Option<&[Option<u32>]>) -> bool {
        let log = &self.course.log;
        log.errors == 0
            && log.overruns == 0
            && log.misread.is_none()
            && self.course.strayed(expects).is_none()
            && self.rig.holds(self.chip, &self.wanted)
            && self.rig.finish().is_empty()
    }
}

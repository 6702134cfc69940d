//! What a program must reach, and whether it did.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use pagewise_simulator::{Hazard, Note};
use serde::Serialize;

use crate::board::Stored;
use crate::cuts;
use crate::notation::words::stored;
use crate::outcome::{BusEvent, End, Outcome, Who};
use crate::play::Run;
use crate::program::{Action, Place};
use crate::values;

/// What a program must reach, besides that everything meant is stored and everything held is kept.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Goal {
    /// What all reads together must return, in order.
    pub reads: Option<Vec<u8>>,
    /// Of these, one must be whole after a cut of the supply at any place of the program; empty: no cut is tried.
    pub either: Vec<Stored>,
    /// Hazards that the detectors may name all the same.
    pub tolerates: Vec<Hazard>,
    /// Write cycles that must be run at least.
    pub cycles: usize,
}

impl Goal {
    /// Reads the goal of a lesson, with the values of a student. Bytes are written as in programs.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn read(reads: &str, either: &[String], tolerates: &[String], seed: u64) -> Result<Self, String> {
        let reads = match reads.trim() {
            "" => None,
            text => {
                let text = values::filled(text, seed);
                let tokens: Vec<&str> = text.split_whitespace().collect();
                Some(stored("0", &tokens).ok_or_else(|| format!("`{text}` is not a list of bytes"))?.bytes)
            }
        };
        let held = |text: &String| {
            let text = values::filled(text, seed);
            let mut tokens = text.split_whitespace();
            let offset = tokens.next().unwrap_or_default();
            let bytes: Vec<&str> = tokens.collect();
            stored(offset, &bytes).ok_or_else(|| format!("`{text}` is not an offset and bytes"))
        };
        let hazard = |name: &String| name.parse().map_err(|_| format!("`{name}` is not the name of a hazard"));
        Ok(Self {
            reads,
            either: either.iter().map(held).collect::<Result<_, _>>()?,
            tolerates: tolerates.iter().map(hazard).collect::<Result<_, _>>()?,
            cycles: 0,
        })
    }
}

/// What a program came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum Graded {
    /// Nothing is lost.
    Passed,
    /// It does not end.
    TooLong,
    /// Bytes are not where they should be.
    Lost {
        /// How many.
        bytes: usize,
        /// Offset of the first.
        offset: u32,
        /// Why, from the simulator's ledger; empty for unknown.
        why: String,
    },
    /// Reads returned something else, or too little or too much.
    ReadsWrong {
        /// Bytes that should have come.
        wanted: usize,
        /// Bytes that came.
        came: usize,
        /// Which of them is the first wrong one, from 0.
        first: usize,
    },
    /// Fewer write cycles than asked for.
    TooFew {
        /// How many.
        cycles: usize,
        /// How many were asked for.
        wanted: usize,
    },
    /// Everything is there, but a detector spoke.
    Warned {
        /// The hazard.
        hazard: Hazard,
        /// What it said.
        text: String,
    },
    /// After a cut of the supply nothing whole is left.
    Ruined {
        /// Line of the program at which it was cut.
        line: usize,
        /// What the write cycle was taken to leave behind.
        torn: &'static str,
    },
}

impl Graded {
    /// Whether nothing is lost.
    #[must_use]
    pub fn passed(&self) -> bool {
        *self == Self::Passed
    }
}

impl Run {
    /// Whether the program reached its goal.
    #[must_use]
    pub fn grade(&self, goal: &Goal) -> Graded {
        if self.end() == End::TooLong {
            return Graded::TooLong;
        }
        if let Some(&offset) = self.lost().first() {
            let why = self.losses().first().map_or_else(String::new, |loss| loss.text.clone());
            return Graded::Lost { bytes: self.lost().len(), offset, why };
        }
        if let Some(wanted) = &goal.reads {
            let came: Vec<u8> = self.reads().iter().map(|(got, _)| *got).collect();
            if came != *wanted {
                let first = came.iter().zip(wanted).take_while(|(came, wanted)| came == wanted).count();
                return Graded::ReadsWrong { wanted: wanted.len(), came: came.len(), first };
            }
        }
        let incidents = self.log().iter().flat_map(|outcome| &outcome.incidents);
        if let Some(incident) = incidents.into_iter().find(|incident| !goal.tolerates.contains(&incident.hazard)) {
            return Graded::Warned { hazard: incident.hazard, text: incident.text.clone() };
        }
        let starts =
            |outcome: &Outcome| outcome.notes.iter().filter(|note| matches!(note, Note::CycleStart { .. })).count();
        let cycles = self.log().iter().map(starts).sum();
        if cycles < goal.cycles {
            return Graded::TooFew { cycles, wanted: goal.cycles };
        }
        if !goal.either.is_empty() {
            let steps = self.log().len();
            if let Some(ruin) = cuts::first_ruin(self.bench(), self.program(), steps, &goal.either) {
                return Graded::Ruined { line: ruin.place.line, torn: ruin.torn.name() };
            }
        }
        Graded::Passed
    }

    /// The first step at which something went wrong: a detector spoke, the chip refused, or what came was not what the
    /// program takes for granted. The end of the program is not a place of it.
    #[must_use]
    pub fn first_failing(&self) -> Option<(usize, Place)> {
        let refused = |event: &BusEvent| matches!(event, BusEvent::Byte { by: Who::Controller, acked: false, .. });
        let fails = |outcome: &&Outcome| {
            let polls = matches!(outcome.action, Action::Poll { .. });
            !outcome.incidents.is_empty()
                || outcome.surprise
                || outcome.skipped
                || (!polls && outcome.bus.iter().any(refused))
        };
        let (step, outcome) = self.log().iter().enumerate().find(|(_, outcome)| fails(outcome))?;
        let line = |outcome: &Outcome| (outcome.place.line > 0).then_some(outcome.place);
        // What only the end shows happened in the last transfer.
        let place = line(outcome).or_else(|| self.log()[..step].iter().rev().find_map(line))?;
        Some((step, place))
    }
}

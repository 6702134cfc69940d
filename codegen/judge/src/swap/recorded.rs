//! A program as a recording of the real bus shows it, beside what is judged by rules: it runs on both parts too.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::{Agreement, Judgement, Verdict};
use crate::board::Board;
use pagewise_part::card::Card;

/// A recorded program. What it takes to run it is none of the rules' business.
pub trait Recording: fmt::Debug + Send + Sync {
    /// Runs it on the fitted part and on a candidate, of which everything is granted that the verdict takes for granted.
    fn run(&self, board: &Board, old: &Card, new: &Card) -> Recorded;
}

/// What the run of a recorded program showed.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Recorded {
    /// It stores and reads on the candidate what it does on the fitted part.
    pub same: bool,
    /// What differs first; empty for nothing.
    pub differs: String,
    /// Hazards that are seen on the candidate only.
    pub hazards: Vec<&'static str>,
    /// What a verdict from a recording takes for granted, besides what the sheets do not state.
    pub provided_that: Vec<String>,
    /// Transfers that were run.
    pub transfers: usize,
}

impl Judgement {
    /// The same with what a recorded program showed: where it differs and the simulation of the assumptions found nothing, the
    /// two do not agree.
    #[must_use]
    pub fn with_recorded(mut self, recorded: Recorded) -> Self {
        if self.evidence.verdict == Verdict::DropIn && !recorded.same {
            self.agree = Agreement::Disagree;
        }
        self.recorded = Some(recorded);
        self
    }
}

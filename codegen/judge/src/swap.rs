//! Can this part take the place of that one on this board? Judged twice: by rules over the cards, and by running the
//! firmware's own assumptions against the simulated chips. The two must agree.
//!
//! [`rule`] holds one file per rule; rules compute from cards and board alone and know nothing of what follows.
//! [`firmware`] does what a board file says about its firmware, [`setup`] puts a chip into the board, [`run`] runs the
//! one on the other. The ladder is all runs behind a judgement, [`remedy`] the settings and straps of its rungs,
//! [`evidence`] what it shows. [`part`] says which chips a board cannot tell apart.

pub mod accept;
pub mod agreement;
mod case;
pub mod climate;
pub mod evidence;
pub mod finding;
pub mod firmware;
mod ladder;
mod memo;
pub mod part;
pub mod remedy;
pub mod rule;
mod ruling;
pub mod run;
pub mod setup;
mod stray;
pub mod verdict;
mod watched;

use std::sync::Arc;

use serde::Serialize;

use crate::board::Board;
pub use accept::Accept;
pub use agreement::Agreement;
pub use case::{Case, Chips, Judges, Rules};
pub use climate::Climate;
pub use evidence::{Evidence, Replay};
pub use finding::{Amend, Finding, Proviso};
use ladder::{Baseline, Ladder};
use pagewise_part::card::Card;
use ruling::Ruling;
pub use run::Run;
pub use verdict::Verdict;

/// What was found for one board and one candidate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judgement {
    /// Name of the board.
    pub board: String,
    /// Identifier of the fitted part's card.
    pub fitted: String,
    /// Identifier of the candidate's card.
    pub candidate: String,
    /// The worst of the findings that rest on stated values.
    pub verdict: Verdict,
    /// The verdict if every assumption turns out as bad as it can be.
    pub worst_case: Verdict,
    /// What the verdict takes for granted because the sheet read does not state it.
    pub provided_that: Vec<String>,
    /// What the verdict rests on because it was measured on samples: nobody promises it.
    pub as_measured: Vec<String>,
    /// All findings, worst first.
    pub findings: Vec<Finding>,
    /// What the simulation showed.
    pub evidence: Evidence,
    /// Whether rules and simulation come to the same verdict.
    pub agree: Agreement,
}

impl Judgement {
    /// The verdict in words: `drop-in, provided that the write cycle is at most 5 ms (not stated in the sheet read)`.
    #[must_use]
    pub fn headline(&self) -> String {
        let mut text = self.verdict.to_string();
        if !self.provided_that.is_empty() {
            text += &format!(", provided that {} (not stated in the sheet read)", self.provided_that.join(" and "));
        }
        if !self.as_measured.is_empty() {
            text += &format!(", as measured on samples, which nobody promises: {}", self.as_measured.join(" and "));
        }
        text
    }

    /// Whether nothing that was read says that the part does not fit the board's footprint, pin by pin.
    #[must_use]
    pub fn may_fit(&self) -> bool {
        self.findings.iter().all(|finding| finding.rule != rule::FOOTPRINT || finding.proviso.is_some())
    }

    /// Its place in a ranking before the stock list is asked, best first: what cannot serve last, before it what does not fit
    /// the footprint, before that what is worse than accepted; of the rest what stands without a condition first, then by
    /// verdict.
    #[must_use]
    pub fn rank(&self, accept: Accept) -> Rank {
        let (verdict, conditional) = (self.verdict, !self.provided_that.is_empty());
        Rank {
            rejected: verdict == Verdict::Reject,
            misfit: !self.may_fit(),
            worse: verdict > accept.worst,
            conditional,
            verdict,
        }
    }
}

/// Place in a ranking, as [`Judgement::rank`] has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rank {
    rejected: bool,
    misfit: bool,
    worse: bool,
    conditional: bool,
    verdict: Verdict,
}

impl Default for Judges {
    fn default() -> Self {
        Self { rules: Box::new(rule::all), chips: Box::new(Card::chip_model) }
    }
}

/// A board with its fitted part, as candidates are measured against it.
#[derive(Debug)]
pub struct Fitted<'a> {
    board: &'a Board,
    old: Arc<Card>,
    climate: Climate,
    works: bool,
    baseline: Baseline<'a>,
    judges: Arc<Judges>,
}

impl<'a> Fitted<'a> {
    /// Runs the board's firmware on the fitted part, once for all candidates.
    #[must_use]
    pub fn new(board: &'a Board, old: &Card) -> Self {
        Self::judged_by(board, old, Arc::default())
    }

    /// The same with other judges.
    #[must_use]
    pub fn judged_by(board: &'a Board, old: &Card, judges: Arc<Judges>) -> Self {
        let climate = Climate::of(board, old);
        let old = Arc::new(old.in_footprint(board.footprint).at_temperatures(climate.range()));
        let itself = Ruling::on(&Case::new(board, climate, &old, &old), &judges.rules);
        // The board works today, so what its firmware needs of the fitted part holds.
        let old = Arc::new(itself.grant(&old));
        let baseline = Baseline::new(board, Arc::clone(&old), Arc::clone(&judges));
        Self { board, old, climate, works: itself.visible() == Verdict::DropIn, baseline, judges }
    }

    /// Judges one candidate, by rules and by simulation.
    #[must_use]
    pub fn judge(&self, new: &Card) -> Judgement {
        let case = self.case(new);
        let ruling = Ruling::on(&case, &self.judges.rules);
        let granted = ruling.grant(&case.new);
        let evidence = Evidence::from(Ladder::climb(&case, &granted, ruling.verdict(), &self.baseline));
        Judgement {
            board: self.board.name.clone(),
            fitted: self.old.id.clone(),
            candidate: new.id.clone(),
            verdict: ruling.verdict(),
            worst_case: ruling.worst_case(),
            provided_that: ruling.provided_that(),
            as_measured: self.as_measured(new, &ruling),
            agree: Agreement::between(ruling.visible(), evidence.verdict, evidence.new.spared),
            findings: ruling.findings,
            evidence,
        }
    }

    /// Runs once more what the judgement of this candidate rests on, and keeps all that the runs leave behind.
    #[must_use]
    pub fn replay(&self, new: &Card) -> Replay {
        let case = self.case(new);
        let ruling = Ruling::on(&case, &self.judges.rules);
        let granted = ruling.grant(&case.new);
        Replay::from(Ladder::climb(&case, &granted, ruling.verdict(), &self.baseline))
    }

    /// What would be a condition, had nobody measured it.
    fn as_measured(&self, new: &Card, ruling: &Ruling) -> Vec<String> {
        let Some(promised) = &new.unmeasured else { return Vec::new() };
        let still = ruling.provided_that();
        let conditions = Ruling::on(&self.case(promised), &self.judges.rules).provided_that();
        conditions.into_iter().filter(|condition| !still.contains(condition)).collect()
    }

    /// The conditions of a candidate, each with the card's value that would settle it.
    #[must_use]
    pub fn conditions(&self, new: &Card) -> Vec<Proviso> {
        Ruling::on(&self.case(new), &self.judges.rules).provisos().into_iter().cloned().collect()
    }

    fn case(&self, new: &Card) -> Case<'a> {
        Case { fitted_works: self.works, ..Case::new(self.board, self.climate, &self.old, new) }
    }
}

/// Judges one candidate for one board, by rules and by simulation. For many candidates see [`Fitted`].
#[must_use]
pub fn judge(board: &Board, old: &Card, new: &Card) -> Judgement {
    Fitted::new(board, old).judge(new)
}

//! Can this part take the place of that one on this board? Judged twice: by rules over the cards, and by running the
//! firmware's own assumptions against the simulated chips. The two must agree.
//!
//! [`rule`] holds one file per rule, [`firmware`] is what a board file says about its firmware, [`trial`] runs it on one
//! chip, [`evidence`] on the old and the new one, [`part`] says which chips a board cannot tell apart, [`remedy`]
//! computes the settings and straps that would serve.

pub mod evidence;
pub mod finding;
pub mod firmware;
mod memo;
pub mod part;
pub mod remedy;
pub mod replay;
pub mod rule;
pub mod trial;
pub mod verdict;
mod watched;

use std::sync::Arc;

use serde::Serialize;

use crate::board::Board;
pub use evidence::{Baseline, Evidence, Run};
pub use finding::{Amend, Finding, Proviso};
use pagewise_part::card::Card;
pub use replay::Replay;
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
    /// All findings, worst first.
    pub findings: Vec<Finding>,
    /// What the simulation showed.
    pub evidence: Evidence,
    /// Rules and simulation come to the same verdict. `false` is a bug in Pagewise.
    pub agree: bool,
}

impl Judgement {
    /// The verdict in words: `drop-in, provided that the write cycle is at most 5 ms (not stated in the sheet read)`.
    #[must_use]
    pub fn headline(&self) -> String {
        if self.provided_that.is_empty() {
            return self.verdict.to_string();
        }
        format!("{}, provided that {} (not stated in the sheet read)", self.verdict, self.provided_that.join(" and "))
    }
}

/// One board, the card of its fitted part and a candidate's card, each as it is in the board's footprint.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    /// The board.
    pub board: &'a Board,
    /// The fitted part, the same for many candidates.
    pub old: Arc<Card>,
    /// The candidate.
    pub new: Card,
}

impl<'a> Case<'a> {
    /// Puts the candidate into the board's footprint; the fitted part is in it.
    #[must_use]
    pub fn new(board: &'a Board, fitted: &Arc<Card>, new: &Card) -> Self {
        Self { board, old: Arc::clone(fitted), new: new.in_footprint(board.footprint) }
    }
}

/// A board with its fitted part, as candidates are measured against it.
#[derive(Debug)]
pub struct Fitted<'a> {
    board: &'a Board,
    old: Arc<Card>,
    baseline: Baseline,
}

impl<'a> Fitted<'a> {
    /// Runs the board's firmware on the fitted part, once for all candidates.
    #[must_use]
    pub fn new(board: &'a Board, old: &Card) -> Self {
        let old = Arc::new(old.in_footprint(board.footprint));
        Self { board, baseline: Baseline::of(board, &old), old }
    }

    /// Judges one candidate, by rules and by simulation.
    #[must_use]
    pub fn judge(&self, new: &Card) -> Judgement {
        let case = Case::new(self.board, &self.old, new);
        let (mut findings, granted) = find(&case);
        findings.sort_by_key(|finding| (std::cmp::Reverse(finding.verdict), finding.proviso.is_some()));
        let verdict = worst(findings.iter().filter(|finding| finding.proviso.is_none()));
        let worst_case = worst(findings.iter());
        let mut provided_that: Vec<String> = Vec::new();
        for proviso in findings.iter().filter(|finding| finding.verdict > verdict).filter_map(|f| f.proviso.as_ref()) {
            if !provided_that.contains(&proviso.text) {
                provided_that.push(proviso.text.clone());
            }
        }
        let evidence = evidence::gather(&case, &granted, verdict, &self.baseline);
        let simulated = findings.iter().filter(|finding| finding.proviso.is_none() && finding.simulated);
        let agree = evidence.verdict == worst(simulated);
        Judgement {
            board: self.board.name.clone(),
            fitted: self.old.id.clone(),
            candidate: new.id.clone(),
            verdict,
            worst_case,
            provided_that,
            findings,
            evidence,
            agree,
        }
    }
}

/// Judges one candidate for one board, by rules and by simulation. For many candidates see [`Fitted`].
#[must_use]
pub fn judge(board: &Board, old: &Card, new: &Card) -> Judgement {
    Fitted::new(board, old).judge(new)
}

/// Applies the rules; a value that a proviso grants can bring up another question (the SCL rate at a supply that nobody
/// stated), so the rules are applied again until none is new. Returns the findings and the card with all that granted.
fn find(case: &Case<'_>) -> (Vec<Finding>, Card) {
    let mut findings: Vec<Finding> = Vec::new();
    let mut granted = case.clone();
    loop {
        let fresh: Vec<Finding> =
            rule::all(&granted).into_iter().filter(|finding| !findings.contains(finding)).collect();
        for proviso in fresh.iter().filter_map(|finding| finding.proviso.as_ref()) {
            proviso.amend.apply(&mut granted.new);
        }
        let more = fresh.iter().any(|finding| finding.proviso.is_some());
        findings.extend(fresh);
        // Every proviso settles one value of the card for good, so this ends.
        if !more {
            return (findings, granted.new);
        }
    }
}

/// The fitted part with every assumption that its firmware needs: the board works today, so they hold.
fn as_it_works(board: &Board, old: &Arc<Card>) -> Card {
    find(&Case::new(board, old, old)).1
}

fn worst<'f>(findings: impl Iterator<Item = &'f Finding>) -> Verdict {
    findings.map(|finding| finding.verdict).max().unwrap_or(Verdict::DropIn)
}

//! What the rules say about a case, all together.

use std::cmp::Reverse;
use std::sync::Arc;

use super::{Case, Finding, Proviso, Verdict};
use pagewise_part::card::Card;

/// The findings of all rules, worst first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ruling {
    pub(super) findings: Vec<Finding>,
}

impl Ruling {
    /// Applies the rules; a value that a proviso grants can bring up another question (the SCL rate at a supply that
    /// nobody stated), so they are applied again until none is new.
    pub(super) fn on(case: &Case<'_>, rules: &dyn Fn(&Case<'_>) -> Vec<Finding>) -> Self {
        let mut ruling = Self { findings: Vec::new() };
        let mut granted = case.clone();
        loop {
            let fresh: Vec<Finding> = rules(&granted).into_iter().filter(|finding| !ruling.holds(finding)).collect();
            let more = fresh.iter().any(|finding| finding.proviso.is_some());
            ruling.findings.extend(fresh);
            // Every proviso settles one value of the card for good, so this ends.
            if !more {
                break;
            }
            let card = ruling.grant(&case.new);
            if card == granted.new && !case.is_of_fitted() {
                // What was granted is not a value of the card, and the rules would say the same again.
                break;
            }
            granted.new = card;
            if case.is_of_fitted() {
                granted.old = Arc::clone(&granted.new);
            }
        }
        ruling.join(Vec::new());
        ruling
    }

    /// Puts further findings in their place.
    pub(super) fn join(&mut self, findings: Vec<Finding>) {
        self.findings.extend(findings);
        self.findings.sort_by_key(|finding| (Reverse(finding.verdict), finding.proviso.is_some()));
    }

    /// Whether a finding is there already, or another one with the same proviso of the same rule: nothing is granted twice.
    fn holds(&self, finding: &Finding) -> bool {
        let same = |proviso: &Proviso| {
            let granted = self.findings.iter().filter(|other| other.rule == finding.rule);
            granted.filter_map(|other| other.proviso.as_ref()).any(|other| other == proviso)
        };
        self.findings.contains(finding) || finding.proviso.as_ref().is_some_and(same)
    }

    /// The card with everything that the provisos take for granted.
    pub(super) fn grant(&self, card: &Arc<Card>) -> Arc<Card> {
        let mut card = Arc::clone(card);
        let provisos = self.findings.iter().filter_map(|finding| finding.proviso.as_ref());
        provisos.for_each(|proviso| proviso.amend.apply(Arc::make_mut(&mut card)));
        card
    }

    fn stated(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.proviso.is_none() && !finding.with_fitted)
    }

    /// The verdict with every proviso granted.
    pub(super) fn verdict(&self) -> Verdict {
        worst(self.stated())
    }

    /// The same as far as a simulation of chip and bus can show it.
    pub(super) fn visible(&self) -> Verdict {
        worst(self.stated().filter(|finding| finding.simulated))
    }

    /// The verdict with no proviso granted.
    pub(super) fn worst_case(&self) -> Verdict {
        worst(self.findings.iter().filter(|finding| !finding.with_fitted))
    }

    /// What the verdict takes for granted, each thing once.
    pub(super) fn provisos(&self) -> Vec<&Proviso> {
        let verdict = self.verdict();
        let granted = self.findings.iter().filter(|finding| finding.verdict > verdict);
        let mut provisos: Vec<&Proviso> = Vec::new();
        for proviso in granted.filter_map(|finding| finding.proviso.as_ref()) {
            if provisos.iter().all(|other| other.text != proviso.text) {
                provisos.push(proviso);
            }
        }
        provisos
    }

    /// The same in words.
    pub(super) fn provided_that(&self) -> Vec<String> {
        self.provisos().into_iter().map(|proviso| proviso.text.clone()).collect()
    }
}

/// Rules whose findings nothing of the fitted part excuses: where it lies on the board, and what it must keep out.
const NEVER_EXCUSED: [&str; 2] = ["footprint", "lost-protection"];

impl Ruling {
    /// The faults: what is stated against the part and asks for something.
    pub(super) fn faults(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.asks())
    }

    /// Does not hold against the candidate what the board has with its fitted part too, and no worse. What a run can show
    /// is left to a run on a board without those faults, if there is one.
    pub(super) fn excuse(&mut self, faults: &[Finding], same_part: bool, mended: bool) {
        for finding in self.findings.iter_mut().filter(|finding| finding.asks()) {
            let left_to_a_run = finding.simulated && mended;
            let excuses = |fault: &Finding| {
                let no_worse = match (finding.measure, fault.measure) {
                    (Some(measure), Some(today)) => measure <= today,
                    (None, None) => !finding.simulated && !NEVER_EXCUSED.contains(&finding.rule),
                    _ => false,
                };
                finding.rule == fault.rule && (no_worse || same_part && finding.compared == fault.compared)
            };
            finding.with_fitted = !left_to_a_run && faults.iter().any(excuses);
        }
    }
}

fn worst<'f>(findings: impl Iterator<Item = &'f Finding>) -> Verdict {
    findings.map(|finding| finding.verdict).max().unwrap_or(Verdict::DropIn)
}

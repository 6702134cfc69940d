//! What the rules say about a case, all together.

use std::cmp::Reverse;

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
            granted.new = ruling.grant(&case.new);
        }
        ruling.findings.sort_by_key(|finding| (Reverse(finding.verdict), finding.proviso.is_some()));
        ruling
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
    pub(super) fn grant(&self, card: &Card) -> Card {
        let mut card = card.clone();
        let provisos = self.findings.iter().filter_map(|finding| finding.proviso.as_ref());
        provisos.for_each(|proviso| proviso.amend.apply(&mut card));
        card
    }

    fn stated(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.proviso.is_none())
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
        worst(self.findings.iter())
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

fn worst<'f>(findings: impl Iterator<Item = &'f Finding>) -> Verdict {
    findings.map(|finding| finding.verdict).max().unwrap_or(Verdict::DropIn)
}

//! What stands against a board with its fitted part, today: said first, and not held against any candidate.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Agreement, Finding, Run, Setting, Verdict};

/// A board as it is with its fitted part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Today {
    /// What board file and fitted part disagree about, worst first.
    pub findings: Vec<Finding>,
    /// Every setting and pin that would mend it, as far as changes can.
    pub then: Vec<Setting>,
    /// The firmware as it is on the fitted part.
    pub run: Run,
    /// Whether rules and simulation agree.
    pub agree: Agreement,
}

impl Today {
    /// `visible` is what the rules say as far as a run shows it; `mended` whether the fitted part serves with the changes.
    pub(super) fn of(
        findings: Vec<Finding>,
        then: Vec<Setting>,
        visible: Verdict,
        run: Run,
        mended: Option<bool>,
    ) -> Self {
        let agree = match ((visible == Verdict::DropIn) == run.serves, mended) {
            (false, _) | (_, Some(false)) => Agreement::Disagree,
            _ if run.spared => Agreement::RulesAlone,
            _ => Agreement::Agree,
        };
        Self { findings, then, run, agree }
    }

    /// Whether the firmware works on the fitted part, as far as a run shows it.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        !self.findings.iter().any(|finding| finding.simulated)
    }

    /// Whether a rule finds something today.
    #[must_use]
    pub fn has(&self, rule: &str) -> bool {
        self.findings.iter().any(|finding| finding.rule == rule)
    }
}

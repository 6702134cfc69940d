//! What remains of a judgement when hundreds of boards are looked at together: the verdict, and what it asks for.
//!
//! A whole judgement takes some kilobytes, a fleet has a hundred thousand of them. An outcome is what a ranking, the
//! counts and the cover need, and what a line of results holds.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::BoardAnswer;
use crate::stock::Offer;
use crate::swap::{Accept, Agreement, Finding, Judgement, Verdict};

/// A board with the outcomes of its candidates, best first.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoardOutcomes {
    /// Place of the board in the whole fleet, from 0.
    pub place: usize,
    /// Board file as the user named it.
    pub file: String,
    /// Name of the board.
    pub name: String,
    /// Identifier of the fitted part's card.
    pub fitted: String,
    /// Units made per year, where known.
    pub yearly_volume: Option<u32>,
    /// What stands against the board with its fitted part, today.
    pub today: Vec<Need>,
    /// One per candidate.
    pub candidates: Vec<Outcome>,
}

/// The outcome for one candidate.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outcome {
    /// Identifier of the candidate's card.
    pub candidate: String,
    /// The verdict.
    pub verdict: Verdict,
    /// The verdict if every assumption turns out badly.
    pub worst_case: Verdict,
    /// What the verdict takes for granted.
    pub provided_that: Vec<String>,
    /// Nothing that was read says that it does not fit the board's footprint.
    pub may_fit: bool,
    /// What has to be done; for a rejected part the reasons.
    pub needs: Vec<Need>,
    /// Whether rules and simulation agree.
    pub agree: Agreement,
    /// The rules that decided alone, where no run could show what they found.
    pub decided_by_rules: Vec<String>,
    /// What the stock list says, where there is one.
    pub stock: Option<Offer>,
}

/// One thing that has to be done, or that stands against a part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Need {
    /// Identifier of the rule.
    pub rule: String,
    /// In words.
    pub text: String,
}

impl Need {
    /// What stands against a part.
    fn against(finding: &Finding) -> Self {
        Self { rule: finding.rule.to_owned(), text: finding.compared.clone() }
    }
}

impl Outcome {
    /// Keeps of a judgement what the fleet needs.
    #[must_use]
    pub fn of(judgement: &Judgement, stock: Option<Offer>) -> Self {
        let asked = judgement.findings.iter().filter(|finding| finding.asks());
        let rejected = judgement.verdict == Verdict::Reject;
        let needs = if rejected {
            asked.filter(|finding| finding.verdict == Verdict::Reject).map(Need::against).collect()
        } else {
            asked.map(|finding| Need { rule: finding.rule.to_owned(), text: finding.remedy.clone() }).collect()
        };
        Self {
            candidate: judgement.candidate.clone(),
            verdict: judgement.verdict,
            worst_case: judgement.worst_case,
            provided_that: judgement.provided_that.clone(),
            may_fit: judgement.may_fit(),
            needs,
            agree: judgement.agree,
            decided_by_rules: judgement.decided_by_rules().into_iter().map(str::to_owned).collect(),
            stock,
        }
    }
}

impl Outcome {
    /// Whether it is usable.
    #[must_use]
    pub fn usable(&self, accept: Accept) -> bool {
        accept.takes(self.verdict, self.worst_case)
    }
}

impl BoardOutcomes {
    /// Keeps of a board's answer what the fleet needs.
    #[must_use]
    pub fn of(place: usize, fitted: &str, answer: &BoardAnswer) -> Self {
        let outcome = |j: &Judgement| Outcome::of(j, answer.offers.get(&j.candidate).cloned());
        Self {
            place,
            file: answer.board.file.clone(),
            name: answer.board.name.clone(),
            fitted: fitted.to_owned(),
            yearly_volume: answer.board.yearly_volume,
            today: answer.today.findings.iter().map(Need::against).collect(),
            candidates: answer.judgements.iter().map(outcome).collect(),
        }
    }
}

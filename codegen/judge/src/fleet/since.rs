//! What changed between two runs over one fleet: another catalogue, another tool, other boards.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{BoardOutcomes, Outcome};
use crate::swap::Verdict;

/// A judgement that is another one now.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Name of the board.
    pub board: String,
    /// Identifier of the candidate's card.
    pub candidate: String,
    /// The verdict then; absent for a new judgement.
    pub was: Option<Verdict>,
    /// The verdict now; absent where it is not judged any more.
    pub is: Option<Verdict>,
    /// Conditions and changes that are new.
    pub added: Vec<String>,
    /// Conditions and changes that are gone.
    pub gone: Vec<String>,
}

/// What changed from `then` to `now`; boards are known by name, candidates by card.
#[must_use]
pub fn changes(then: &[BoardOutcomes], now: &[BoardOutcomes]) -> Vec<Change> {
    let (then, now) = (by_name(then), by_name(now));
    let mut keys: Vec<&(&str, &str)> = then.keys().chain(now.keys()).collect();
    keys.sort();
    keys.dedup();
    let changed = keys.into_iter().filter_map(|key| {
        let (was, is) = (then.get(key), now.get(key));
        let reasons = |outcome: Option<&&Outcome>| outcome.map_or_else(Vec::new, |outcome| reasons(outcome));
        let (before, after) = (reasons(was), reasons(is));
        let without = |some: &[String], other: &[String]| -> Vec<String> {
            some.iter().filter(|text| !other.contains(text)).cloned().collect()
        };
        let change = Change {
            board: key.0.to_owned(),
            candidate: key.1.to_owned(),
            was: was.map(|outcome| outcome.verdict),
            is: is.map(|outcome| outcome.verdict),
            added: without(&after, &before),
            gone: without(&before, &after),
        };
        (change.was != change.is || !change.added.is_empty() || !change.gone.is_empty()).then_some(change)
    });
    changed.collect()
}

fn by_name(boards: &[BoardOutcomes]) -> BTreeMap<(&str, &str), &Outcome> {
    boards
        .iter()
        .flat_map(|board| board.candidates.iter().map(|it| ((board.name.as_str(), it.candidate.as_str()), it)))
        .collect()
}

/// All that a verdict asks for and rests on, in words.
fn reasons(outcome: &Outcome) -> Vec<String> {
    let needs = outcome.needs.iter().map(|need| format!("{}: {}", need.rule, need.text));
    needs.chain(outcome.provided_that.iter().map(|it| format!("provided that {it}"))).collect()
}

//! What changed between two runs over one fleet: another catalogue, another tool, other boards.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::{BoardOutcomes, Outcome};
use crate::swap::Verdict;

/// A judgement that is another one now.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
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

/// What a judgement is or was: its verdict, and all that it asks for and rests on, in words.
pub type Said = (Verdict, Vec<String>);

/// What changed from `then` to `now`; boards are known by name, candidates by card.
#[must_use]
pub fn changes(then: &[BoardOutcomes], now: &[BoardOutcomes]) -> Vec<Change> {
    let (then, now) = (by_name(then), by_name(now));
    let mut keys: Vec<&(&str, &str)> = then.keys().chain(now.keys()).collect();
    keys.sort();
    keys.dedup();
    let said = |outcome: Option<&&Outcome>| outcome.map(|outcome| (outcome.verdict, reasons(outcome)));
    keys.into_iter().filter_map(|key| change(key.0, key.1, said(then.get(key)), said(now.get(key)))).collect()
}

/// How the judgement of one candidate differs from what it was; `None` where it does not.
#[must_use]
pub fn change(board: &str, candidate: &str, was: Option<Said>, is: Option<Said>) -> Option<Change> {
    let (was, before) = was.unzip();
    let (is, after) = is.unzip();
    let (before, after) = (before.unwrap_or_default(), after.unwrap_or_default());
    let without = |some: &[String], other: &[String]| -> Vec<String> {
        some.iter().filter(|text| !other.contains(text)).cloned().collect()
    };
    let (added, gone) = (without(&after, &before), without(&before, &after));
    let same = was == is && added.is_empty() && gone.is_empty();
    (!same).then(|| Change { board: board.to_owned(), candidate: candidate.to_owned(), was, is, added, gone })
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

//! The complete new state of a board: every change that rules ask for, until nothing new comes up.

use super::{Case, Finding};
use crate::board::Board;

/// Rounds of changes after which nothing new comes up: a strap moves the address, which moves the block bits.
const ROUNDS: usize = 8;

/// A board with all changes made.
pub(super) struct Complete {
    pub(super) board: Board,
    /// What no run shows and only the changes bring up: a slower SCL rate needs larger pull-ups.
    pub(super) brought_up: Vec<Finding>,
}

/// The board with all that the rules ask for, until they ask for nothing more that a change could give; `None` where
/// something else remains that a run would show. `rules` finds what is stated against a board.
pub(super) fn complete<'a>(case: &Case<'a>, rules: impl Fn(&Case<'_>) -> Vec<Finding>) -> Option<Complete> {
    let mut board = case.board.clone();
    let mut first: Option<Vec<&'static str>> = None;
    let mut brought_up: Vec<Finding> = Vec::new();
    for _ in 0..ROUNDS {
        let findings = rules(&Case { board: &board, ..case.clone() });
        let known = first.get_or_insert_with(|| findings.iter().map(|finding| finding.rule).collect());
        for finding in findings.iter().filter(|finding| finding.asks() && !finding.simulated) {
            if !known.contains(&finding.rule) {
                known.push(finding.rule);
                brought_up.push(finding.clone());
            }
        }
        let mut next = board.clone();
        findings.iter().flat_map(|finding| &finding.changes).for_each(|change| change.apply(&mut next));
        if next == board {
            let sound = findings.iter().all(|finding| !finding.asks() || !finding.simulated);
            return sound.then_some(Complete { board, brought_up });
        }
        board = next;
    }
    None
}

//! The fewest part numbers that cover the fleet: a set cover.
//!
//! Each board lists the parts that serve it. Boards that ask for more than another board does, and parts that serve no
//! more than another part does, are set aside first; what remains is searched by branch and bound. The search is
//! exhaustive up to [`NODES`] steps, so its answer is the fewest there can be. Beyond that the best found stands, never
//! worse than the greedy choice (always the part that serves most of the boards still open), together with a number
//! that no choice can be below. Greedy takes at most H(d) = 1 + 1/2 + ... + 1/d times the fewest, d being the most boards
//! that one part serves (Chvatal 1979, "A greedy heuristic for the set-covering problem").

mod search;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Steps of the search above which the answer is the best found so far.
pub const NODES: u64 = 200_000;

/// A choice of parts.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Cover {
    /// Positions of the parts, ascending.
    pub parts: Vec<usize>,
    /// Boards that no part serves, ascending.
    pub uncovered: Vec<usize>,
    /// No choice has fewer parts than this; equal to the number of parts where the search was exhaustive.
    pub at_least: usize,
    /// Parts of the greedy choice.
    pub greedy: usize,
}

impl Cover {
    /// Whether no choice of fewer parts exists.
    #[must_use]
    pub fn is_fewest(&self) -> bool {
        self.at_least == self.parts.len()
    }
}

/// The fewest parts such that each board that has any part at all has one of them. `boards` holds the positions of the
/// parts that serve each board; at most `nodes` steps are searched.
#[must_use]
pub fn fewest(boards: &[Vec<usize>], nodes: u64) -> Cover {
    let uncovered = (0..boards.len()).filter(|board| boards[*board].is_empty()).collect();
    let problem = search::Problem::new(boards);
    let found = problem.solve(nodes);
    Cover { parts: found.parts, uncovered, at_least: found.at_least, greedy: found.greedy }
}

/// Exchanges chosen parts one for one as long as that lowers the sum over all boards of the cost of the cheapest part
/// chosen. `costs[board][part]` is absent where the part does not serve the board; boards that the choice does not serve
/// do not count. Every board stays served and the number of parts stays; the sum is not proven to be the lowest.
#[must_use]
pub fn exchanged(costs: &[Vec<Option<u64>>], mut parts: Vec<usize>) -> Vec<usize> {
    let chosen = |row: &Vec<Option<u64>>, parts: &[usize]| parts.iter().filter_map(|part| row[*part]).min();
    let rows: Vec<&Vec<Option<u64>>> = costs.iter().filter(|row| chosen(row, &parts).is_some()).collect();
    let count = rows.first().map_or(0, |row| row.len());
    let mut lowest: u64 = rows.iter().filter_map(|row| chosen(row, &parts)).sum();
    loop {
        let mut better = None;
        for place in 0..parts.len() {
            let mut others = parts.clone();
            others.remove(place);
            // What each board costs without the part at this place.
            let without: Vec<Option<u64>> = rows.iter().map(|row| chosen(row, &others)).collect();
            for part in (0..count).filter(|part| !parts.contains(part)) {
                let one = |(row, rest): (&&Vec<Option<u64>>, &Option<u64>)| row[part].into_iter().chain(*rest).min();
                let sum: Option<u64> = rows.iter().zip(&without).map(one).sum();
                if let Some(sum) = sum.filter(|sum| *sum < lowest) {
                    (lowest, better) = (sum, Some((place, part)));
                }
            }
        }
        let Some((place, part)) = better else { break };
        parts[place] = part;
    }
    parts.sort_unstable();
    parts
}

//! What a whole fleet comes to: counts per candidate, and the fewest part numbers that cover it.

use std::collections::{BTreeMap, HashMap};

use schemars::JsonSchema;
use serde::Serialize;

use super::{BoardOutcomes, Need, Outcome, cover};
use crate::stock::Offer;
use crate::swap::agreement::Tally;
use crate::swap::{Accept, Verdict};

/// What a fleet comes to.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Summary {
    /// Boards looked at.
    pub boards: usize,
    /// Boards that disagree with their fitted part today.
    pub with_faults: usize,
    /// Judgements made.
    pub judgements: usize,
    /// How many of them rules and simulation agree on, and how many the rules decided alone.
    #[serde(flatten)]
    pub agreement: Tally,
    /// Verdicts of each candidate over the fleet; those that serve most boards first.
    pub candidates: Vec<Count>,
    /// The fewest parts.
    pub cover: Choice,
}

/// Verdicts of one candidate, or of all.
#[derive(Debug, Clone, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Count {
    /// Identifier of the card.
    pub candidate: String,
    /// Boards for which it is a drop-in.
    pub drop_in: usize,
    /// Those of them where nothing is taken for granted.
    pub unconditional_drop_in: usize,
    /// Boards whose firmware or image changes.
    pub reconfigure: usize,
    /// Boards that change.
    pub rework: usize,
    /// Boards that it cannot serve.
    pub reject: usize,
    /// Boards for which it is usable by what was accepted.
    pub usable: usize,
}

impl Count {
    /// Counts one more.
    pub fn add(&mut self, outcome: &Outcome, accept: Accept) {
        self.usable += usize::from(outcome.usable(accept));
        self.unconditional_drop_in +=
            usize::from(outcome.verdict == Verdict::DropIn && outcome.provided_that.is_empty());
        match outcome.verdict {
            Verdict::DropIn => self.drop_in += 1,
            Verdict::Reconfigure => self.reconfigure += 1,
            Verdict::Rework => self.rework += 1,
            Verdict::Reject => self.reject += 1,
        }
    }

    /// Boards by verdict, best verdict first.
    #[must_use]
    pub const fn by_verdict(&self) -> [(Verdict, usize); 4] {
        [
            (Verdict::DropIn, self.drop_in),
            (Verdict::Reconfigure, self.reconfigure),
            (Verdict::Rework, self.rework),
            (Verdict::Reject, self.reject),
        ]
    }
}

/// The fewest parts of which each board takes one.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Choice {
    /// The worst verdict that was accepted.
    pub accept: Verdict,
    /// Whether conditions were granted.
    pub accept_conditions: bool,
    /// The parts; those that serve most boards first.
    pub parts: Vec<Chosen>,
    /// No choice has fewer parts than this. Equal to the number of parts: this is the fewest.
    pub at_least: usize,
    /// Parts that the greedy choice takes.
    pub greedy: usize,
    /// Boards without a usable candidate.
    pub uncovered: Vec<Uncovered>,
}

/// One part of the choice.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Chosen {
    /// Identifier of the card.
    pub candidate: String,
    /// The boards that take it, in the order of the fleet.
    pub boards: Vec<Taker>,
}

/// A board that takes a part of the choice, and what it then needs.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Taker {
    /// Name of the board.
    pub name: String,
    /// Its file.
    pub file: String,
    /// Units made per year, where known.
    pub yearly_volume: Option<u32>,
    /// The verdict.
    pub verdict: Verdict,
    /// What the verdict takes for granted.
    pub provided_that: Vec<String>,
    /// What has to be done.
    pub needs: Vec<Need>,
    /// What the stock list says of the part for this board.
    pub stock: Option<Offer>,
}

/// A board without a usable candidate.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Uncovered {
    /// Name of the board.
    pub name: String,
    /// Its file.
    pub file: String,
    /// It has one if conditions are granted.
    pub with_conditions: bool,
}

impl Summary {
    /// Sums up a fleet; a part counts for a board where it is usable by `accept`.
    #[must_use]
    pub fn of(boards: &[BoardOutcomes], accept: Accept) -> Self {
        let mut counts: BTreeMap<&str, Count> = BTreeMap::new();
        let outcomes = || boards.iter().flat_map(|board| &board.candidates);
        for outcome in outcomes() {
            let count = counts.entry(&outcome.candidate).or_default();
            count.add(outcome, accept);
        }
        let mut candidates: Vec<Count> =
            counts.into_iter().map(|(id, count)| Count { candidate: id.to_owned(), ..count }).collect();
        candidates.sort_by_key(|count| {
            let fewest_changes = (count.drop_in, count.reconfigure, count.rework);
            (std::cmp::Reverse((count.usable, fewest_changes)), count.candidate.clone())
        });
        Self {
            boards: boards.len(),
            judgements: outcomes().count(),
            with_faults: boards.iter().filter(|board| !board.today.is_empty()).count(),
            agreement: outcomes().map(|outcome| (outcome.agree, outcome.decided_by_rules.clone())).collect(),
            cover: choice(boards, &candidates, accept),
            candidates,
        }
    }

    /// Verdicts of all candidates together.
    #[must_use]
    pub fn total(&self) -> Count {
        self.candidates.iter().fold(Count::default(), |sum, count| Count {
            drop_in: sum.drop_in + count.drop_in,
            unconditional_drop_in: sum.unconditional_drop_in + count.unconditional_drop_in,
            reconfigure: sum.reconfigure + count.reconfigure,
            rework: sum.rework + count.rework,
            reject: sum.reject + count.reject,
            usable: sum.usable + count.usable,
            ..sum
        })
    }

    /// Whether every board has a candidate that serves.
    #[must_use]
    pub fn usable(&self) -> bool {
        self.cover.uncovered.is_empty()
    }
}

/// What a board gives for one part rather than another, as a ranking has it: first whether it fits, then whether it stands
/// without a condition, then the verdict, then availability, then the number of conditions.
fn cost(outcome: &Outcome) -> u64 {
    let stock = outcome.stock.as_ref().map_or(0, |offer| 10 * u64::from(!offer.enough) + offer.state as u64);
    let conditional = u64::from(!outcome.provided_that.is_empty());
    let rank = (2 * u64::from(!outcome.may_fit) + conditional) * Verdict::ALL.len() as u64 + outcome.verdict as u64;
    10_000 * rank + 100 * stock + outcome.provided_that.len().min(99) as u64
}

fn choice(boards: &[BoardOutcomes], candidates: &[Count], accept: Accept) -> Choice {
    // Of parts that serve the same boards the search keeps the first, so the order of the candidates counts.
    let place: HashMap<&str, usize> =
        candidates.iter().enumerate().map(|(place, count)| (count.candidate.as_str(), place)).collect();
    let usable = |board: &BoardOutcomes| -> Vec<(usize, u64)> {
        let outcomes = board.candidates.iter().filter(|outcome| outcome.usable(accept));
        outcomes.map(|outcome| (place[outcome.candidate.as_str()], cost(outcome))).collect()
    };
    let served: Vec<Vec<(usize, u64)>> = boards.iter().map(usable).collect();
    let sets: Vec<Vec<usize>> = served.iter().map(|row| row.iter().map(|(part, _)| *part).collect()).collect();
    let found = cover::fewest(&sets, cover::NODES);
    let costs: Vec<Vec<Option<u64>>> = served
        .iter()
        .map(|row| {
            let mut costs = vec![None; candidates.len()];
            row.iter().for_each(|(part, cost)| costs[*part] = Some(*cost));
            costs
        })
        .collect();
    let chosen = cover::exchanged(&costs, found.parts);
    let mut parts: Vec<Chosen> = chosen
        .into_iter()
        .map(|part| Chosen { candidate: candidates[part].candidate.clone(), boards: Vec::new() })
        .collect();
    for board in boards {
        // The candidates of a board are ranked, so the first that was chosen is its best.
        let usable = board.candidates.iter().filter(|outcome| outcome.usable(accept));
        let place = |outcome: &Outcome| parts.iter().position(|part| part.candidate == outcome.candidate);
        let best = usable.filter_map(|outcome| Some((outcome, place(outcome)?))).next();
        if let Some((outcome, place)) = best {
            parts[place].boards.push(taker(board, outcome));
        }
    }
    parts.sort_by(|a, b| (b.boards.len(), &a.candidate).cmp(&(a.boards.len(), &b.candidate)));
    let uncovered = found.uncovered.iter().map(|place| &boards[*place]);
    let uncovered = uncovered.map(|board| Uncovered {
        name: board.name.clone(),
        file: board.file.clone(),
        with_conditions: board.candidates.iter().any(|outcome| outcome.usable(accept.granting())),
    });
    Choice {
        accept: accept.worst,
        accept_conditions: accept.conditions,
        parts,
        at_least: found.at_least,
        greedy: found.greedy,
        uncovered: uncovered.collect(),
    }
}

fn taker(board: &BoardOutcomes, outcome: &Outcome) -> Taker {
    Taker {
        name: board.name.clone(),
        file: board.file.clone(),
        yearly_volume: board.yearly_volume,
        verdict: outcome.verdict,
        provided_that: outcome.provided_that.clone(),
        needs: outcome.needs.clone(),
        stock: outcome.stock.clone(),
    }
}

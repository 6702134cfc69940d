//! How often a drop-in stands without a condition, over an invented fleet and every part: a verdict that always rests on
//! conditions is worth nothing.
//!
//! Each board is judged twice: against the parts as they are called, and against the order codes that mean its package, for
//! those parts whose documents say how they are ordered. Boards say all that a verdict can ask of them.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{Job, invent, judge_each};
use crate::board::{self, Board};
use crate::swap::{Judgement, Verdict};
use pagewise_part::card::{Card, Catalogue};

/// What a survey found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Survey {
    /// Boards looked at.
    pub boards: usize,
    /// Candidates called by the names of their parts.
    pub by_name: Count,
    /// Candidates called by an order code whose package is that of the board.
    pub by_order_code: Count,
}

/// The drop-ins of one way to call candidates.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Count {
    /// Judgements made.
    pub judgements: usize,
    /// Drop-ins, every condition granted.
    pub drop_ins: usize,
    /// Those that rest on nothing.
    pub unconditional: usize,
    /// The middle one of their numbers of conditions.
    pub median_conditions: usize,
    /// What the others rest on, the most frequent first.
    pub conditions: Vec<Condition>,
}

impl Count {
    /// Share of the drop-ins that rest on nothing, in percent; 0 where there is none.
    #[must_use]
    pub fn percent(&self) -> f64 {
        if self.drop_ins == 0 { 0.0 } else { 100.0 * self.unconditional as f64 / self.drop_ins as f64 }
    }
}

/// A condition, and what settles it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Condition {
    /// Identifier of the rule that asks.
    pub rule: &'static str,
    /// What settles it.
    pub action: String,
    /// Drop-ins that rest on it.
    pub drop_ins: usize,
    /// One of them, in words.
    pub example: String,
}

/// Surveys an invented fleet of boards from a seed.
///
/// # Panics
/// Never: invented boards are sound, and tests read them.
#[must_use]
pub fn survey<'c>(catalogue: &'c Catalogue, boards: usize, seed: u64) -> Survey {
    let files = invent::fleet(catalogue, boards, seed);
    let fleet: Vec<Board> = files
        .iter()
        .map(|file| complete(board::parse(&file.name, &file.text).expect("an invented board is sound")))
        .collect();
    let count = |candidates: &dyn Fn(&Board, &Card) -> Vec<&'c Card>| {
        let job = |(place, board): (usize, &Board)| {
            let old = catalogue.find(&board.fitted).expect("an invented board has a part of the catalogue");
            Job { place, board: board.clone(), old, candidates: candidates(board, old), recording: None }
        };
        counted(fleet.iter().enumerate().map(job).collect())
    };
    let others = |old: &Card| {
        let id = old.id.clone();
        catalogue.eeproms().filter(move |card| card.id != id)
    };
    Survey {
        boards: fleet.len(),
        by_name: count(&|_, old| others(old).collect()),
        by_order_code: count(&|board, old| others(old).filter_map(|card| ordered(catalogue, board, card)).collect()),
    }
}

/// The board with the temperatures of a heated room where it says none.
fn complete(mut board: Board) -> Board {
    board.temperature_min_c = board.temperature_min_c.or(Some(0.0));
    board.temperature_max_c = board.temperature_max_c.or(Some(50.0));
    board
}

/// The part by an order code that means the board's package.
fn ordered<'c>(catalogue: &'c Catalogue, board: &Board, card: &Card) -> Option<&'c Card> {
    let name = card.name.split(" (").next().unwrap_or(&card.name);
    let pieces = card.order_pieces.iter().filter(|piece| piece.package == Some(board.footprint));
    let code = |piece: &str| catalogue.find(&format!("{name}-{}", piece.trim_start_matches('-')));
    pieces.filter_map(|piece| code(&piece.piece)).find(|found| found.order_of.as_deref() == Some(card.id.as_str()))
}

fn counted(jobs: Vec<Job<'_>>) -> Count {
    let (mut count, mut numbers) = (Count::default(), Vec::new());
    let mut found: BTreeMap<(&'static str, String), (usize, String)> = BTreeMap::new();
    judge_each(jobs, None, Verdict::DropIn.into(), &|| (), |_, answer| {
        count.judgements += answer.judgements.len();
        for judgement in answer.judgements.iter().filter(|judgement| judgement.verdict == Verdict::DropIn) {
            count.drop_ins += 1;
            numbers.push(judgement.provided_that.len());
            for (rule, action, text) in conditions(judgement) {
                found.entry((rule, action)).or_insert((0, text)).0 += 1;
            }
        }
    });
    numbers.sort_unstable();
    count.unconditional = numbers.iter().filter(|conditions| **conditions == 0).count();
    count.median_conditions = numbers.get(numbers.len() / 2).copied().unwrap_or(0);
    let condition = |((rule, action), (drop_ins, example))| Condition { rule, action, drop_ins, example };
    count.conditions = found.into_iter().map(condition).collect();
    count.conditions.sort_by_key(|condition| std::cmp::Reverse(condition.drop_ins));
    count
}

/// Each condition of a judgement once: who asks, what settles it, the condition itself.
fn conditions(judgement: &Judgement) -> Vec<(&'static str, String, String)> {
    let mut seen = Vec::new();
    let provisos = judgement.findings.iter().filter(|finding| finding.verdict > judgement.verdict);
    for finding in provisos {
        let Some(proviso) = &finding.proviso else { continue };
        let one = (finding.rule, action(finding.rule, &finding.remedy), proviso.text.clone());
        if !seen.contains(&one) {
            seen.push(one);
        }
    }
    seen
}

/// What settles a condition: the remedy where it sends to the sheet or the maker; elsewhere a remedy says what to do should
/// the condition fail, and the sheet of the part settles it.
fn action(rule: &str, remedy: &str) -> String {
    let sends = ["look for", "ask ", "compare ", "take the order code", "order "];
    if sends.iter().any(|word| remedy.starts_with(word)) {
        return remedy.split(" (").next().unwrap_or(remedy).to_owned();
    }
    match rule {
        "write-cycle" => "look for the longest write cycle in the data sheet, or measure samples hot and cold",
        "supply" | "scl-rate" => "look for the range of this supply in the data sheet's table of limits",
        "endurance" | "retention" => "look for endurance and retention in the data sheet, or ask the maker",
        _ => "look it up in the data sheet of the exact order code, or ask the maker",
    }
    .to_owned()
}

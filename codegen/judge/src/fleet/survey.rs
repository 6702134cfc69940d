//! How often a drop-in stands without a condition, over an invented fleet and every part: a verdict that always rests on
//! conditions is worth nothing.
//!
//! Each board is judged twice: against the parts as they are called, and against the order codes that mean its package, for
//! those parts whose documents say how they are ordered. Boards say all that a verdict can ask of them.
//!
//! A drop-in is true by published facts where documents state every fact of [`FACTS`] for that board; this look-up knows
//! nothing of the rules. A condition on such a drop-in is a false alarm, or asks for more than those facts.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::{Job, invent, judge_each};
use crate::board::{self, Board};
use crate::budget::wear::Rating;
use crate::swap::{Judgement, Verdict};
use pagewise_part::card::{Card, Catalogue, Kind, Offer};

/// What a survey found.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Survey {
    /// Boards looked at.
    pub boards: usize,
    /// Candidates called by the names of their parts.
    pub by_name: Count,
    /// Candidates called by an order code whose package is that of the board.
    pub by_order_code: Count,
    /// What the documents of the catalogue's parts leave open.
    pub catalogue: Open,
}

/// How far the documents of all parts state what a drop-in needs.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Open {
    /// Parts.
    pub parts: usize,
    /// Those of which every fact is stated, in at least one package.
    pub complete: usize,
    /// Parts that lack a fact, by fact.
    pub lacking: BTreeMap<&'static str, usize>,
}

/// The drop-ins of one way to call candidates.
#[derive(Debug, Clone, Default, PartialEq, JsonSchema, Serialize)]
pub struct Count {
    /// Judgements made.
    pub judgements: usize,
    /// Drop-ins, every condition granted.
    pub drop_ins: usize,
    /// Those that rest on nothing.
    pub unconditional: usize,
    /// Drop-ins for which documents state every fact that a drop-in needs.
    pub published: usize,
    /// Those of them that rest on nothing.
    pub published_unconditional: usize,
    /// The middle number of conditions of those.
    pub published_median: usize,
    /// The middle one of their numbers of conditions.
    pub median_conditions: usize,
    /// What the others rest on, the most frequent first.
    pub conditions: Vec<Condition>,
}

impl Count {
    /// Share of the drop-ins that rest on nothing, in percent; 0 where there is none.
    #[must_use]
    pub fn percent(&self) -> f64 {
        share(self.unconditional, self.drop_ins)
    }

    /// The same of those that are true by published facts.
    #[must_use]
    pub fn published_percent(&self) -> f64 {
        share(self.published_unconditional, self.published)
    }
}

fn share(part: usize, whole: usize) -> f64 {
    if whole == 0 { 0.0 } else { 100.0 * part as f64 / whole as f64 }
}

fn middle(mut numbers: Vec<usize>) -> usize {
    numbers.sort_unstable();
    numbers.get(numbers.len() / 2).copied().unwrap_or(0)
}

/// Whether a document states something of a part, at this supply in millivolts.
type Stated = fn(&Card, u32) -> bool;

/// The facts of a part that a drop-in needs, wherever it is put; the package is asked for apart.
pub const FACTS: [(&str, Stated); 10] = [
    ("device code", |card, _| !card.device_code.is_assumed()),
    ("word-address bytes", |card, _| !card.word_address_bytes.is_assumed()),
    ("page", |card, _| card.kind == Kind::Fram || !card.page_bytes.is_assumed()),
    ("longest write cycle", |card, mv| card.kind == Kind::Fram || !card.write_cycle_at(mv).is_assumed()),
    ("supply", |card, _| !card.read_min_mv.is_assumed() && !card.max_mv.is_assumed()),
    ("SCL rate at the supply", |card, mv| !card.speed.is_assumed() && card.grades_at(mv).any(|grade| !grade.assumed)),
    ("operating temperature", |card, _| !card.temperature_min_c.is_assumed() && !card.temperature_max_c.is_assumed()),
    ("what WP protects", |card, _| !card.protect_range.is_assumed()),
    ("endurance", |card, _| !card.endurance_cycles.is_assumed() || card.endurance_at.is_some()),
    ("retention", |card, mv| !card.retention_at(mv).is_assumed()),
];

/// The facts of a candidate that no document states for a board.
fn lacking(board: &Board, card: &Card) -> Vec<&'static str> {
    let here = card.in_footprint(board.footprint);
    let mut lacking: Vec<&str> =
        FACTS.iter().filter(|(_, stated)| !stated(&here, board.bus.supply_mv)).map(|(fact, _)| *fact).collect();
    let package = match card.packages.offer(board.footprint) {
        Offer::Made(package) => package.pins.is_some() && package.address_is_read() && !here.address_bits.is_assumed(),
        Offer::Uncertain(_) | Offer::NotMade | Offer::NotKnown => false,
    };
    if !package {
        lacking.push(PACKAGE);
    }
    if Rating::of(&here, board.temperature_max_c, board.bus.supply_mv).covers == Some(false) {
        lacking.push("endurance at the board's temperature");
    }
    lacking
}

const PACKAGE: &str = "package, its pins and its address bits";

/// What the documents of all parts leave open, each part at the middle of its supply and in its best package.
fn open(catalogue: &Catalogue) -> Open {
    let mut open = Open { parts: 0, complete: 0, lacking: BTreeMap::new() };
    for card in catalogue.parts() {
        let supply = u32::midpoint(card.read_min_mv.value, card.max_mv.value);
        let mut missing: Vec<&str> =
            FACTS.iter().filter(|(_, stated)| !stated(card, supply)).map(|(fact, _)| *fact).collect();
        let read = |package: &pagewise_part::card::Package| package.pins.is_some() && package.address_is_read();
        if card.address_bits.is_assumed() || !card.packages.list.iter().any(read) {
            missing.push(PACKAGE);
        }
        open.parts += 1;
        open.complete += usize::from(missing.is_empty());
        for fact in missing {
            *open.lacking.entry(fact).or_default() += 1;
        }
    }
    open
}

/// A condition, and what settles it.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Condition {
    /// Identifier of the rule that asks.
    pub rule: &'static str,
    /// What settles it.
    pub action: String,
    /// Drop-ins that rest on it.
    pub drop_ins: usize,
    /// Those of them for which documents state every fact that a drop-in needs.
    pub published: usize,
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
        catalogue: open(catalogue),
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
    let asked: Vec<Vec<&Card>> = jobs.iter().map(|job| job.candidates.clone()).collect();
    let mut asked = asked.into_iter();
    let (mut count, mut numbers, mut published) = (Count::default(), Vec::new(), Vec::new());
    let mut found: BTreeMap<(&'static str, String), (usize, usize, String)> = BTreeMap::new();
    judge_each(jobs, None, Verdict::DropIn.into(), &|| (), |_, answer| {
        let candidates = asked.next().unwrap_or_default();
        count.judgements += answer.judgements.len();
        for judgement in answer.judgements.iter().filter(|judgement| judgement.verdict == Verdict::DropIn) {
            count.drop_ins += 1;
            numbers.push(judgement.provided_that.len());
            let candidate = candidates.iter().find(|card| card.id == judgement.candidate);
            let whole = candidate.is_some_and(|card| lacking(&answer.board, card).is_empty());
            if whole {
                published.push(judgement.provided_that.len());
            }
            for (rule, action, text) in conditions(judgement) {
                let (all, of_whole, _) = found.entry((rule, action)).or_insert((0, 0, text));
                *all += 1;
                *of_whole += usize::from(whole);
            }
        }
    });
    count.unconditional = numbers.iter().filter(|conditions| **conditions == 0).count();
    count.median_conditions = middle(numbers);
    count.published = published.len();
    count.published_unconditional = published.iter().filter(|conditions| **conditions == 0).count();
    count.published_median = middle(published);
    let condition =
        |((rule, action), (drop_ins, published, example))| Condition { rule, action, drop_ins, published, example };
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

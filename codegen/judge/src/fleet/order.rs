//! What is to be ordered: a line a board, and per order code the quantity for all boards that take it.

use std::collections::BTreeMap;
use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::{BoardOutcomes, Need, Outcome};
use crate::stock::{Offer, Price};
use crate::swap::{Accept, Verdict};

/// What is ordered for one board.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Line {
    /// Name of the board.
    pub board: String,
    /// Its file.
    pub file: String,
    /// Identifier of the fitted part's card.
    pub fitted: String,
    /// Units made per year, where known.
    pub yearly_volume: Option<u32>,
    /// What is taken: the first candidate of the ranking that is accepted.
    pub take: Option<Take>,
    /// Where nothing is taken: what stands against the best candidate.
    pub open: Vec<String>,
}

/// A part that a board takes.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Take {
    /// Order code: as the stock list has it, else the identifier of the card.
    pub order_code: String,
    /// The user's own number, where the stock list has one.
    pub number: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// What changes on the board or in its firmware.
    pub changes: Vec<String>,
    /// What it rests on.
    pub provided_that: Vec<String>,
    /// What the stock list says.
    pub stock: Option<Offer>,
}

/// What is ordered of one part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Buy {
    /// Order code.
    pub order_code: String,
    /// The user's own number.
    pub number: Option<String>,
    /// How many boards take it.
    pub boards: usize,
    /// Pieces for a year of all of them; boards that state no volume are not in it.
    pub needed: u64,
    /// How many of the boards state no yearly volume.
    pub without_volume: usize,
    /// Pieces in stock, where there is a list.
    pub in_stock: Option<u64>,
    /// Pieces that the stock is short of.
    pub short: u64,
    /// Price of all pieces.
    pub cost: Option<Price>,
    /// What the boards that take it rest on, most frequent first.
    pub provided_that: Vec<Cause>,
}

/// A reason with the number of boards that it holds for.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Cause {
    /// In words.
    pub cause: String,
    /// How many.
    pub boards: usize,
}

impl Cause {
    /// Counts reasons, most frequent first.
    fn counted(reasons: impl IntoIterator<Item = String>) -> Vec<Self> {
        let mut counts: BTreeMap<String, usize> = BTreeMap::new();
        reasons.into_iter().for_each(|reason| *counts.entry(reason).or_default() += 1);
        let mut all: Vec<Self> = counts.into_iter().map(|(cause, boards)| Self { cause, boards }).collect();
        all.sort_by(|a, b| b.boards.cmp(&a.boards).then_with(|| a.cause.cmp(&b.cause)));
        all
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} for {}", self.boards, self.cause)
    }
}

/// An order for a fleet.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Order {
    /// A line for each board.
    pub boards: Vec<Line>,
    /// A line for each part, most pieces first.
    pub parts: Vec<Buy>,
    /// Why boards are left without a part, each cause with their number, most frequent first.
    pub causes: Vec<Cause>,
}

impl Buy {
    /// Stock against need: `120 in stock, 150 needed`.
    #[must_use]
    pub fn pieces(&self) -> String {
        let needed = match (self.needed, self.without_volume) {
            (0, unknown) if unknown > 0 => "need not stated".to_owned(),
            (needed, _) => format!("{needed} needed"),
        };
        self.in_stock.map_or_else(|| needed.clone(), |stock| format!("{stock} in stock, {needed}"))
    }
}

impl Order {
    /// The order of a fleet whose candidates are ranked.
    #[must_use]
    pub fn of(boards: &[BoardOutcomes], accept: Accept) -> Self {
        let lines: Vec<Line> = boards.iter().map(|board| line(board, accept)).collect();
        let mut parts: BTreeMap<&str, Buy> = BTreeMap::new();
        let mut causes = Vec::new();
        for (line, board) in lines.iter().zip(boards) {
            match &line.take {
                Some(take) => add(parts.entry(&take.order_code).or_insert_with(|| nothing_of(take)), take, line),
                None => causes.push(cause(board)),
            }
        }
        let rests_on = |part: &Buy| {
            let takes =
                lines.iter().filter_map(|line| line.take.as_ref()).filter(|take| take.order_code == part.order_code);
            Cause::counted(takes.flat_map(|take| take.provided_that.clone()))
        };
        let mut parts: Vec<Buy> = parts.into_values().collect();
        for part in &mut parts {
            part.short = part.in_stock.map_or(0, |stock| part.needed.saturating_sub(stock));
            part.provided_that = rests_on(part);
        }
        parts.sort_by(|a, b| (b.needed, b.boards, &a.order_code).cmp(&(a.needed, a.boards, &b.order_code)));
        Self { boards: lines, parts, causes: Cause::counted(causes) }
    }
}

fn line(board: &BoardOutcomes, accept: Accept) -> Line {
    let taken = board.candidates.iter().find(|outcome| outcome.usable(accept));
    let take = taken.map(|outcome| Take {
        order_code: outcome.stock.as_ref().map_or_else(|| outcome.candidate.clone(), |offer| offer.part.clone()),
        number: outcome.stock.as_ref().and_then(|offer| offer.number.clone()),
        verdict: outcome.verdict,
        changes: outcome.needs.iter().map(|need| need.text.clone()).collect(),
        provided_that: outcome.provided_that.clone(),
        stock: outcome.stock.clone(),
    });
    let best = board.candidates.first().filter(|_| take.is_none());
    let open = best.map_or_else(Vec::new, |best| {
        let needs = best.needs.iter().map(|need| format!("{}: {}", need.rule, need.text));
        needs.chain(best.provided_that.iter().map(|it| format!("provided that {it}"))).collect()
    });
    Line {
        board: board.name.clone(),
        file: board.file.clone(),
        fitted: board.fitted.clone(),
        yearly_volume: board.yearly_volume,
        take,
        open,
    }
}

/// What the best candidate of a board fails by, and whether the fitted part does, too.
fn cause(board: &BoardOutcomes) -> String {
    let too = |need: &Need| board.today.iter().any(|today| today.rule == need.rule);
    let by = |best: &Outcome| match best.needs.first() {
        Some(need) if too(need) => format!("{}, with the fitted part, too", need.rule),
        Some(need) => need.rule.clone(),
        None if best.provided_that.is_empty() => "want of a candidate".into(),
        None => "open conditions alone".into(),
    };
    board.candidates.first().map_or_else(|| "want of a candidate".into(), by)
}

fn nothing_of(take: &Take) -> Buy {
    Buy {
        order_code: take.order_code.clone(),
        number: take.number.clone(),
        boards: 0,
        needed: 0,
        without_volume: 0,
        in_stock: take.stock.as_ref().map(|offer| offer.quantity),
        short: 0,
        cost: None,
        provided_that: Vec::new(),
    }
}

fn add(buy: &mut Buy, take: &Take, line: &Line) {
    buy.boards += 1;
    match line.yearly_volume {
        Some(pieces) => buy.needed += u64::from(pieces),
        None => buy.without_volume += 1,
    }
    let price = take.stock.as_ref().map(|offer| offer.unit_price);
    buy.cost = price.map(|price| price.times(u32::try_from(buy.needed).unwrap_or(u32::MAX)));
}

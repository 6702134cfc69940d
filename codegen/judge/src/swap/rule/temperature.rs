use super::Rule;
use crate::swap::climate::{By, Climate, End};
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_base::words::listed;
use pagewise_part::card::{OrderPiece, assume};
use pagewise_part::fact::Fact;

pub(super) const RULE: Rule = Rule { id: "temperature", check };

/// Compares the temperatures at which the part must work with those at which it does: outside them its sheet promises
/// nothing, neither what it stores nor for how long. What the part must stand is what the board file says; where that says
/// nothing, all that the fitted part stands.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (climate, new) = (case.climate, &case.new);
    let (low, high) = new.temperatures();
    let unread = new.temperature_min_c.is_assumed() || new.temperature_max_c.is_assumed();
    // That the fitted part stands what its board asks for is for the board to show, unless its sheet says otherwise.
    if case.is_of_fitted() && unread {
        return Vec::new();
    }
    let (from, to) = climate.range();
    let needed = format!("{from} to {to} C {}", asked(climate));
    let finding = |fact: &Fact<i32>, text: String, remedy: String| {
        Finding::new(RULE.id, Verdict::Reject, fact, text, remedy).not_simulated()
    };
    if unread {
        let fact = if new.temperature_min_c.is_assumed() { &new.temperature_min_c } else { &new.temperature_max_c };
        let remedy = "look for the operating temperature in the data sheet".to_owned();
        let proviso = format!("it works from {from} to {to} C");
        return vec![finding(fact, needed, remedy).unless(proviso, Amend::Temperatures(from, to))];
    }
    if low <= from && to <= high {
        return Vec::new();
    }
    let text = format!("{needed}, the part works from {low} to {high} C");
    let wider: Vec<&OrderPiece> = if new.order_of.is_none() { grades(case) } else { Vec::new() };
    if !wider.is_empty() {
        let pieces = listed(wider.iter().map(|piece| &piece.piece));
        let finding = finding(&assume::GRADE_ORDERED.with(0), text, format!("order the grade for it ({pieces})"));
        let proviso = format!("its order code is of a grade for {from} to {to} C ({pieces})");
        return vec![finding.unless(proviso, Amend::Temperatures(from, to))];
    }
    let fact = if from < low { &new.temperature_min_c } else { &new.temperature_max_c };
    let remedy = match (climate.low.by, climate.high.by) {
        (By::Board, By::Board) => "take a part, or a grade of it, for this range",
        _ => {
            "take a part for this range, or say in the board file what it needs (temperature_min_c, temperature_max_c)"
        }
    };
    let lacks = f64::from((low - from).max(0) + (to - high).max(0));
    vec![finding(fact, text, remedy.to_owned()).measured(lacks)]
}

/// Pieces of its order code that mean a grade for the whole range.
fn grades<'c>(case: &'c Case<'_>) -> Vec<&'c OrderPiece> {
    let (from, to) = case.climate.range();
    let wide =
        |piece: &&OrderPiece| piece.min_c.is_some_and(|min| min <= from) && piece.max_c.is_some_and(|max| to <= max);
    case.new.order_pieces.iter().filter(wide).collect()
}

/// Who asks for the range.
fn asked(climate: Climate) -> String {
    let by = |end: End| match end.by {
        By::Board => "on the board",
        By::Fitted => "of the fitted part",
        By::Nobody => "where neither board nor fitted part says less",
    };
    match (by(climate.low), by(climate.high)) {
        (low, high) if low == high => low.to_owned(),
        (low, high) => format!("({low}, {high})"),
    }
}

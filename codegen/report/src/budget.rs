//! The budget of the fitted part and of a candidate, as far as a report shows it: the two plots, and what changes.

use serde::Serialize;

use pagewise_judge::board::Board;
use pagewise_judge::budget::compare::changes;
use pagewise_judge::budget::plot::{self, years_text};
use pagewise_judge::budget::pull_up::Standing;
use pagewise_judge::budget::{self, Budget};
use pagewise_part::card::Card;

/// The budget of one part.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Part {
    holds: bool,
    /// The judgement in one line.
    line: String,
    remarks: Vec<String>,
    /// Finished SVG.
    pull_up: String,
    wear: String,
    /// Numbers that differ from the fitted part's; empty for the fitted part itself.
    lines: Vec<Line>,
}

#[derive(Debug, Clone, Serialize)]
struct Line {
    what: &'static str,
    unit: &'static str,
    old: String,
    new: String,
    /// `better`, `worse`, or empty.
    tendency: &'static str,
}

/// The fitted part.
pub(super) fn fitted(board: &Board, old: &Card, key: &str) -> Part {
    part(&budget::compute(board, old), Vec::new(), key)
}

/// A candidate beside the fitted part.
pub(super) fn candidate(board: &Board, old: &Card, new: &Card, key: &str) -> Part {
    let (before, after) = (budget::compute(board, old), budget::swapped(board, old, new));
    let lines = changes(&before, &after).into_iter().filter_map(|change| {
        let (old, new) = (number(change.old), number(change.new));
        let tendency = change.better.map_or("", |better| if better { "better" } else { "worse" });
        (old != new).then_some(Line { what: change.what, unit: change.unit, old, new, tendency })
    });
    part(&after, lines.collect(), key)
}

fn part(budget: &Budget, lines: Vec<Line>, key: &str) -> Part {
    let pull_up = match budget.pull_up.standing {
        Standing::Inside => "the pull-ups are inside the window",
        _ => "the pull-ups are outside the window",
    };
    let clock = match budget.timing.rate_fits {
        Some(true) => "the SCL rate fits",
        Some(false) => "the SCL rate does not fit",
        None => "the part's SCL rate is not stated",
    };
    let wear = match budget.wear.years_to_rating {
        Some(years) => format!("{} years to the rated write cycles at the busiest place", years_text(years)),
        None => "nothing is written at run time".to_owned(),
    };
    Part {
        holds: budget.holds(),
        line: format!("{pull_up}; {clock}; {wear}"),
        remarks: budget.remarks.clone(),
        pull_up: plot::pull_up(budget, &format!("{key}-p")),
        wear: plot::wear(budget, &format!("{key}-y")),
        lines,
    }
}

/// A number with no more digits than anybody reads; a dash where there is none.
fn number(value: Option<f64>) -> String {
    let Some(value) = value else { return "–".to_owned() };
    let digits = match value.abs() {
        size if size >= 100.0 || size == 0.0 => 0,
        size if size >= 1.0 => 1,
        size => (1.0 - size.log10().floor()) as usize,
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_the_digits_that_matter() {
        let texts = [Some(32_768.0), Some(141.26), Some(5.0), Some(2.25), Some(0.012_34), None].map(number);
        assert_eq!(texts, ["32768", "141", "5", "2.2", "0.012", "–"]);
    }
}

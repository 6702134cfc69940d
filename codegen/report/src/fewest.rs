//! The fewest part numbers that serve all boards, as the page shows them.

use serde::Serialize;

use super::Report;
use pagewise_judge::fleet::Summary;
use pagewise_judge::swap::Verdict;

/// The choice for a fleet.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Fewest {
    parts: Vec<Part>,
    boards: usize,
    /// No choice has fewer parts than this.
    at_least: usize,
    uncovered: usize,
}

#[derive(Debug, Clone, Serialize)]
struct Part {
    part: String,
    boards: Vec<Taker>,
}

#[derive(Debug, Clone, Serialize)]
struct Taker {
    /// Position of the board in the report, from 1.
    number: usize,
    name: String,
    verdict: Verdict,
    /// What the verdict takes for granted.
    provided_that: Vec<String>,
}

/// The choice, where there is more than one board and any part serves one.
pub(super) fn parts(report: &Report<'_>, summary: &Summary) -> Option<Fewest> {
    if report.answers.len() < 2 {
        return None;
    }
    let cover = &summary.cover;
    let number = |file: &str| report.answers.iter().position(|answer| answer.board.file == file).map_or(0, |at| at + 1);
    let parts: Vec<Part> = cover
        .parts
        .iter()
        .map(|chosen| Part {
            part: report.catalogue.find(&chosen.candidate).map_or(&chosen.candidate, |card| &card.name).clone(),
            boards: chosen
                .boards
                .iter()
                .map(|board| Taker {
                    number: number(&board.file),
                    name: board.name.clone(),
                    verdict: board.verdict,
                    provided_that: board.provided_that.clone(),
                })
                .collect(),
        })
        .collect();
    (!parts.is_empty()).then(|| Fewest {
        boards: parts.iter().map(|part| part.boards.len()).sum(),
        parts,
        at_least: cover.at_least,
        uncovered: cover.uncovered.len(),
    })
}

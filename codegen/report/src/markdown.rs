//! The report as Markdown, short enough for a comment: where a board has many candidates, those that serve best.

use serde::Serialize;

use super::view::{BoardView, CandidateView, Overview};
use pagewise_judge::swap::Verdict;
use pagewise_templates::render;

/// Rows of a board's table; more serve nobody in a comment.
const MOST_ROWS: usize = 10;

#[derive(Serialize)]
struct Comment<'a> {
    #[serde(flatten)]
    whole: &'a Overview,
    boards: Vec<Section<'a>>,
}

#[derive(Serialize)]
struct Section<'a> {
    board: &'a BoardView,
    best: Option<&'a CandidateView>,
    rows: &'a [CandidateView],
    /// Candidates that could serve but have no row.
    more: usize,
    rejected: usize,
    detailed: Vec<&'a CandidateView>,
}

pub(super) fn write(whole: &Overview) -> String {
    let boards = whole.boards.iter().map(section).collect();
    render("report.md.tera", &Comment { whole, boards })
}

fn section(board: &BoardView) -> Section<'_> {
    let all = &board.candidates;
    let few = all.len() <= super::view::DETAILED;
    let rejected = board.counts[Verdict::Reject as usize];
    let shown = if few { all.len() } else { (all.len() - rejected).min(MOST_ROWS) };
    let hidden = if few { 0 } else { all.len() - rejected - shown };
    Section {
        board,
        best: all.first(),
        rows: &all[..shown],
        more: hidden,
        rejected: if few { 0 } else { rejected },
        detailed: all[..shown].iter().filter(|candidate| few || candidate.detailed).collect(),
    }
}

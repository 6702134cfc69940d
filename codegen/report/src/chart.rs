//! A fleet at a glance: boards by verdict, and by candidate.

use serde::Serialize;

use pagewise_judge::fleet::summary::Count;
use pagewise_judge::fleet::{BoardOutcomes, Summary};
use pagewise_judge::swap::{Accept, Verdict};

/// Candidates that have a bar; more are looked up in a table.
const BARS: usize = 12;

/// The chart.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Chart {
    /// What was looked at.
    boards: usize,
    /// The best accepted candidate of each board.
    best: Bar,
    /// The candidates that serve most boards.
    candidates: Vec<Bar>,
    /// Candidates without a bar.
    more: usize,
}

/// A bar of counts.
#[derive(Debug, Clone, Serialize)]
struct Bar {
    name: String,
    pieces: Vec<Piece>,
}

/// A piece of a bar.
#[derive(Debug, Clone, Serialize)]
struct Piece {
    /// Word of the verdict, `none` where nothing is accepted.
    kind: &'static str,
    /// In words.
    what: &'static str,
    count: usize,
    /// Hundredths of the whole.
    share: String,
}

impl Bar {
    fn new(name: String, counts: &[(&'static str, &'static str, usize)]) -> Self {
        let all: usize = counts.iter().map(|(_, _, count)| count).sum();
        let share = |count: usize| format!("{:.2}", 100.0 * count as f64 / all.max(1) as f64);
        let pieces = counts.iter().filter(|(_, _, count)| *count > 0);
        let pieces = pieces.map(|(kind, what, count)| Piece { kind, what, count: *count, share: share(*count) });
        Self { name, pieces: pieces.collect() }
    }

    fn of(count: &Count) -> Self {
        let counts = count.by_verdict().map(|(verdict, boards)| (verdict.word(), verdict.word(), boards));
        Self::new(count.candidate.clone(), &counts)
    }
}

impl Chart {
    /// The chart of a fleet of more than one board.
    pub(crate) fn of(boards: &[BoardOutcomes], summary: &Summary, accept: Accept) -> Option<Self> {
        if boards.len() < 2 {
            return None;
        }
        let best: Vec<Option<Verdict>> =
            boards.iter().map(|board| Some(board.candidates.iter().find(|it| it.usable(accept))?.verdict)).collect();
        let with = |wanted: Option<Verdict>| best.iter().filter(|verdict| **verdict == wanted).count();
        let counts: Vec<_> = Verdict::ALL
            .into_iter()
            .map(|verdict| (verdict.word(), verdict.word(), with(Some(verdict))))
            .chain([("none", "no candidate that is accepted", with(None))])
            .collect();
        Some(Self {
            boards: boards.len(),
            best: Bar::new("best accepted candidate".to_owned(), &counts),
            candidates: summary.candidates.iter().take(BARS).map(Bar::of).collect(),
            more: summary.candidates.len().saturating_sub(BARS),
        })
    }
}

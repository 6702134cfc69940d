//! One verdict in forms that leave the terminal: Markdown for a review comment, JUnit XML for a CI server, and a
//! self-contained HTML page to send to a colleague. All are made from the same [`view`].
//!
//! # Examples
//!
//! ```
//! use pagewise_part::card::Catalogue;
//! use pagewise_judge::fleet::{self, Candidates};
//! use pagewise_report::Report;
//! use pagewise_judge::swap::Verdict;
//!
//! let catalogue = Catalogue::embedded()?;
//! let folder = std::path::PathBuf::from("../../examples/boards/valve-driver.toml");
//! let read = fleet::files::read(&[folder], &catalogue, &Default::default()).map_err(|faults| format!("{faults:?}"))?;
//! let boards = read.boards.into_iter().map(|(board, _)| board).collect();
//! let jobs = fleet::jobs(&catalogue, boards, Candidates::OfBoard).map_err(|faults| format!("{faults:?}"))?;
//! let answers = fleet::judge_all(jobs);
//! let accept = Verdict::Reconfigure.into();
//! let report = Report { answers: &answers, catalogue: &catalogue, accept, full: false, currency: "" };
//! assert!(report.markdown().starts_with("## Swap check: 1 board"));
//! assert!(report.junit().contains("<testsuites"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![forbid(unsafe_code)]

mod address;
mod budget;
mod chart;
mod fewest;
pub mod fleet;
mod junit;
mod markdown;
mod memory_map;
pub mod offer;
mod page;
mod timing;
pub mod trial;
pub mod view;

use pagewise_judge::fleet::BoardAnswer;
use pagewise_judge::swap::Accept;
use pagewise_part::card::Catalogue;

/// What a report is made from.
#[derive(Debug, Clone, Copy)]
pub struct Report<'a> {
    /// The boards with their judgements.
    pub answers: &'a [BoardAnswer],
    /// The cards that they were judged with.
    pub catalogue: &'a Catalogue,
    /// What counts as usable.
    pub accept: Accept,
    /// Every candidate in full, also where a board has many.
    pub full: bool,
    /// Currency of the stock list's prices; empty where it states none, or there is no list.
    pub currency: &'a str,
}

impl Report<'_> {
    fn look(&self) -> view::Look<'_> {
        view::Look {
            catalogue: self.catalogue,
            accept: self.accept,
            full: self.full,
            runs: true,
            currency: self.currency,
        }
    }

    /// Markdown for a review comment: a summary table, then each board.
    #[must_use]
    pub fn markdown(&self) -> String {
        markdown::write(&view::Overview::of(self.answers, &self.look()))
    }

    /// JUnit XML: a suite per board, a case per candidate. A candidate that is not usable by what is accepted is a failure, a
    /// disagreement of rules and simulation is an error.
    #[must_use]
    pub fn junit(&self) -> String {
        junit::write(&view::Overview::of(self.answers, &self.look()), self.accept)
    }

    /// One HTML page with everything in it: verdict first, then each board with findings, pictures and addresses.
    #[must_use]
    pub fn page(&self) -> String {
        page::write(self, false)
    }

    /// The page of one board among others: it leads back to their index.
    #[must_use]
    pub fn board_page(&self) -> String {
        page::write(self, true)
    }
}

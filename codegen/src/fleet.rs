//! Many boards at once: every board against its candidate cards, judged in parallel.
//!
//! [`files`] finds the board files of folders, [`job`] the cards that each board needs, [`judge`] does the work.

pub mod files;
pub mod job;
pub mod judge;

use serde::Serialize;

use crate::board::Board;
use crate::swap::Judgement;
pub use job::{Candidates, Job, jobs};
pub use judge::judge_all;

/// One board with the judgements of its candidates, best first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoardAnswer {
    /// The board file's contents.
    pub board: Board,
    /// One judgement per candidate.
    pub judgements: Vec<Judgement>,
}

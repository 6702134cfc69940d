//! Many boards at once: every board against its candidate cards, judged in parallel, and what the whole fleet asks for.
//!
//! [`files`] finds the board files of folders, [`job`] the cards that each board needs, [`judge`] does the work and
//! [`outcome`] is what is kept of it. [`summary`] counts, and finds the fewest parts with [`cover`]. [`lines`] writes and
//! reads results, [`shard`] divides the work, [`merge`] puts the results together again. [`invent`] makes fleets up, [`survey`] counts what
//! their drop-ins rest on.

pub mod cover;
pub mod files;
pub mod invent;
pub mod job;
pub mod judge;
pub mod lines;
pub mod merge;
pub mod order;
pub mod outcome;
pub mod shard;
pub mod since;
pub mod summary;
pub mod survey;

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::Board;
use crate::stock::Offer;
use crate::swap::{Judgement, Today};
pub use job::{Candidates, Job, jobs};
pub use judge::{judge_all, judge_each};
pub use outcome::{BoardOutcomes, Need, Outcome};
pub use shard::Shard;
pub use summary::Summary;

/// One board with the judgements of its candidates, best first.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct BoardAnswer {
    /// The board file's contents.
    pub board: Board,
    /// What stands against it with its fitted part, today.
    pub today: Today,
    /// One judgement per candidate.
    pub judgements: Vec<Judgement>,
    /// What the stock list says, by candidate.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub offers: BTreeMap<String, Offer>,
}

//! `pagewise merge`: the results of all shards of a fleet, put together.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::swap::files::{Files, Source};
use super::swap::fleet_text::{self, Look};
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::draft::Draft;
use pagewise_base::fault::Faults;
use pagewise_judge::fleet::{BoardOutcomes, Shard, Summary, lines, merge};
use pagewise_judge::swap::Verdict;
use pagewise_report::fleet::Fleet;

/// Put the results of all shards of a fleet together.
///
/// Refuses results of different boards, cards, stock lists, options or versions, a shard that is there twice, and shards
/// that are missing.
#[derive(Debug, Args)]
#[command(after_help = "Exit code 1 when a board has no candidate that --accept and --accept-conditions took.")]
pub struct Merge {
    /// Files that `pagewise swap --shard N/M --lines FILE` wrote, one of every shard.
    #[arg(value_name = "RESULTS", required = true)]
    pub results: Vec<PathBuf>,
    /// Write the whole as JSON Lines, the same as those of an undivided run.
    #[arg(long, value_name = "FILE")]
    pub lines: Option<PathBuf>,
    /// Reports to write besides.
    #[command(flatten)]
    pub files: Files,
    /// Show all candidates, and the ranking of every board.
    #[arg(long)]
    pub full: bool,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    accept: Verdict,
    accept_conditions: bool,
    usable: bool,
    digest: &'a str,
    shards: usize,
    fleet: &'a Summary,
    results: &'a [BoardOutcomes],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Merge {
    /// Runs the command.
    ///
    /// # Errors
    /// What is wrong with any file, why they do not belong together, or a file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let mut faults = Faults::default();
        faults.0.extend(self.files.check(self.lines.as_deref()).err().into_iter().flat_map(|more| more.0));
        let merged = merge::read(&self.results).map_err(|more| faults.0.extend(more.0)).ok();
        let Some(merged) = merged.filter(|_| faults.0.is_empty()) else { return Err(faults) };
        let mut lines = None;
        if let Some(path) = &self.lines {
            let mut draft = Draft::begin(path)?;
            let mut writer = lines::Writer::default();
            draft.write(&writer.line(&merged.header))?;
            for board in &merged.boards {
                draft.write(&writer.line(board))?;
            }
            lines = Some(draft);
        }
        let accept = merged.header.accepts();
        let fleet = Fleet { boards: &merged.boards, accept, currency: &merged.header.currency };
        self.files.write(&Source { fleet, report: None, pages: &[] }, lines)?;
        let summary = Summary::of(&merged.boards, accept);
        let usable = summary.usable();
        let body = Body {
            accept: accept.worst,
            accept_conditions: accept.conditions,
            usable,
            digest: &merged.header.digest,
            shards: merged.shards,
            fleet: &summary,
            results: &merged.boards,
        };
        let exit = if usable { Exit::Usable } else { Exit::Against };
        Ok(Answer::new(options.reader(), "merge", exit, &body, || {
            let currency = merged.header.currency.as_str();
            let fleet = fleet_text::render(&summary, &Look { currency, full: self.full, shard: Shard::WHOLE });
            let boards = if self.full { fleet_text::rankings(&merged.boards, currency) } else { String::new() };
            if boards.is_empty() { fleet } else { fleet + "\n" + &boards }
        }))
    }
}

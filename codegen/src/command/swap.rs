//! `pagewise swap`: boards and candidates give verdicts with evidence.

mod files;
mod text;

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::Options;
use crate::fault::Faults;
use crate::fleet::{self, BoardAnswer, Candidates};
use crate::output::{Answer, Exit};
use crate::report::Report;
use crate::swap::Verdict;

/// Judge candidate parts for boards, by rules and by running the firmware on the simulated chips.
#[derive(Debug, Args)]
#[command(
    after_help = "Verdicts: drop-in (nothing changes), reconfigure (a firmware or image setting changes), rework \
                        (the board changes), reject (cannot serve). Exit code 1 when a board has no candidate that is \
                        at least as good as --accept."
)]
pub struct Swap {
    /// Board files, or folders of them.
    #[arg(value_name = "BOARD", required = true)]
    pub boards: Vec<PathBuf>,
    /// Candidate part; may be repeated. Default: the candidates that a board file names, or every part.
    #[arg(long = "to", value_name = "PART")]
    pub candidates: Vec<String>,
    /// Judge every part of the catalogue, whatever the board files name.
    #[arg(long, conflicts_with = "candidates")]
    pub all: bool,
    /// The worst verdict that counts as usable for the exit code.
    #[arg(long, value_name = "VERDICT", value_parser = verdict, default_value = "reconfigure")]
    pub accept: Verdict,
    /// Show every finding of every candidate, also where many are judged.
    #[arg(long)]
    pub full: bool,
    /// Reports to write besides.
    #[command(flatten)]
    pub files: files::Files,
}

fn verdict(word: &str) -> Result<Verdict, String> {
    Verdict::ALL
        .into_iter()
        .find(|verdict| verdict.word() == word)
        .ok_or_else(|| "use drop-in, reconfigure, rework or reject".to_owned())
}

#[derive(Serialize)]
struct Body<'a> {
    accept: Verdict,
    usable: bool,
    boards: &'a [BoardAnswer],
}

impl Swap {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards, board files and part names.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let boards = fleet::files::read(&self.boards)?;
        let candidates = match (self.all, self.candidates.as_slice()) {
            (true, _) => Candidates::All,
            (false, []) => Candidates::OfBoard,
            (false, names) => Candidates::Named(names),
        };
        self.files.check()?;
        let answers = fleet::judge_all(fleet::jobs(&catalogue, boards, candidates)?);
        let usable =
            answers.iter().all(|answer| answer.judgements.iter().any(|judgement| judgement.verdict <= self.accept));
        let report = Report { answers: &answers, catalogue: &catalogue, accept: self.accept, full: self.full };
        self.files.write(&report)?;
        let exit = if usable { Exit::Usable } else { Exit::Against };
        let body = Body { accept: self.accept, usable, boards: &answers };
        Ok(Answer::new(options.reader(), "swap", exit, &body, || text::render(&answers, &catalogue, self.full)))
    }
}

//! `pagewise swap`: boards and candidates give verdicts with evidence.

mod text;

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use rayon::prelude::*;
use serde::Serialize;

use super::Options;
use crate::board::{self, Board};
use crate::card::{Card, Catalogue};
use crate::fault::{Fault, Faults};
use crate::output::{Answer, Exit};
use crate::swap::{Fitted, Judgement, Verdict};

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
}

fn verdict(word: &str) -> Result<Verdict, String> {
    Verdict::ALL
        .into_iter()
        .find(|verdict| verdict.word() == word)
        .ok_or_else(|| "use drop-in, reconfigure, rework or reject".to_owned())
}

/// One board with the judgements of its candidates, best first.
#[derive(Debug, Serialize)]
pub struct BoardAnswer {
    /// The board file's contents.
    pub board: Board,
    /// One judgement per candidate.
    pub judgements: Vec<Judgement>,
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
        let boards = self.read_boards()?;
        let jobs = self.jobs(&catalogue, boards)?;
        let answers = judge_all(jobs);
        let usable =
            answers.iter().all(|answer| answer.judgements.iter().any(|judgement| judgement.verdict <= self.accept));
        let exit = if usable { Exit::Usable } else { Exit::Against };
        let body = Body { accept: self.accept, usable, boards: &answers };
        Ok(Answer::new(options.reader(), "swap", exit, &body, || text::render(&answers, &catalogue, self.full)))
    }

    fn read_boards(&self) -> Result<Vec<Board>, Faults> {
        let mut faults = Vec::new();
        let mut boards = Vec::new();
        for path in &self.boards {
            match board_files(path) {
                Ok(files) => {
                    for file in files {
                        match board::read(&file) {
                            Ok(board) => boards.push(board),
                            Err(more) => faults.extend(more.0),
                        }
                    }
                }
                Err(fault) => faults.push(fault),
            }
        }
        Faults(faults).or_ok(boards)
    }

    /// Finds the cards that each board needs.
    fn jobs<'c>(&self, catalogue: &'c Catalogue, boards: Vec<Board>) -> Result<Vec<Job<'c>>, Faults> {
        let mut faults = Vec::new();
        let mut jobs = Vec::new();
        let find = |file: &str, field: &str, name: &str, faults: &mut Vec<Fault>| {
            let found = catalogue.find(name);
            if found.is_none() {
                faults.push(unknown_part(catalogue, file, field, name));
            }
            found
        };
        for board in boards {
            let old = find(&board.file, "fitted", &board.fitted, &mut faults);
            let names = if self.candidates.is_empty() { &board.candidates } else { &self.candidates };
            let file = if self.candidates.is_empty() { board.file.as_str() } else { "--to" };
            let candidates: Vec<&Card> = if self.all || names.is_empty() {
                catalogue.parts().filter(|card| Some(card.id.as_str()) != old.map(|old| old.id.as_str())).collect()
            } else {
                names.iter().filter_map(|name| find(file, "candidates", name, &mut faults)).collect()
            };
            jobs.extend(old.map(|old| Job { board, old, candidates }));
        }
        Faults(faults).or_ok(jobs)
    }
}

struct Job<'c> {
    board: Board,
    old: &'c Card,
    candidates: Vec<&'c Card>,
}

fn judge_all(jobs: Vec<Job<'_>>) -> Vec<BoardAnswer> {
    // Judgements differ much in time, so no thread takes more than one at once.
    jobs.into_par_iter()
        .with_max_len(1)
        .map(|job| {
            let fitted = Fitted::new(&job.board, job.old);
            let mut judgements: Vec<Judgement> =
                job.candidates.par_iter().with_max_len(1).map(|new| fitted.judge(new)).collect();
            judgements.sort_by_key(|judgement| {
                (judgement.verdict, judgement.worst_case, judgement.provided_that.len(), judgement.findings.len())
            });
            BoardAnswer { board: job.board, judgements }
        })
        .collect()
}

fn board_files(path: &Path) -> Result<Vec<PathBuf>, Fault> {
    let file = path.display().to_string();
    let unreadable = |error: std::io::Error| {
        Fault::of_file(&file, format!("cannot be read: {error}"), "check the path and its permissions")
    };
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let mut files = Vec::new();
    for entry in fs::read_dir(path).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?.path();
        if entry.extension().is_some_and(|extension| extension == "toml") {
            files.push(entry);
        }
    }
    files.sort();
    if files.is_empty() {
        return Err(Fault::of_file(&file, "holds no board file", "name a folder with *.toml board files"));
    }
    Ok(files)
}

fn unknown_part(catalogue: &Catalogue, file: &str, field: &str, name: &str) -> Fault {
    let near = catalogue.near(name);
    let remedy = if near.is_empty() {
        "list the parts with `pagewise parts`, or add a card with --cards".to_owned()
    } else {
        format!("did you mean {}? `pagewise parts` lists all", near.join(", "))
    };
    Fault {
        file: file.to_owned(),
        line: 0,
        field: field.to_owned(),
        reason: format!("no card is called `{name}`"),
        remedy,
    }
}

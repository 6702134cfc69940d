//! `pagewise budget`: pull-ups, bus timing, times and wear of a part on a board, and what a swap changes in them.

mod text;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::disk;
use pagewise_base::fault::Faults;
use pagewise_judge::board::{self, Board};
use pagewise_judge::budget::compare::{self, Change};
use pagewise_judge::budget::time::Production;
use pagewise_judge::budget::{self, Budget, plot};
use pagewise_part::card::{Card, Catalogue};

/// Compute pull-ups, bus timing, times to read and program, and wear of a part on a board.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code 1 when a pull-up, the SCL rate or the wear of the part in question leaves its limits."
)]
pub struct BudgetCommand {
    /// Board file.
    #[arg(value_name = "BOARD")]
    pub board: PathBuf,
    /// Part that would take the fitted one's place; may be repeated.
    #[arg(long = "to", value_name = "PART")]
    pub candidates: Vec<String>,
    /// Units of a production run. Default: the board file's yearly_volume.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000_000))]
    pub units: Option<u32>,
    /// Folder into which the plots are written: pull-up-PART.svg and wear-PART.svg for each part; made if it does not exist.
    #[arg(long, value_name = "FOLDER")]
    pub svg: Option<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Entry {
    #[serde(flatten)]
    budget: Budget,
    holds: bool,
    production: Option<Production>,
}

#[derive(JsonSchema, Serialize)]
struct Candidate {
    #[serde(flatten)]
    entry: Entry,
    changes: Vec<Change>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    board: &'b Board,
    fitted: Entry,
    candidates: Vec<Candidate>,
    files: Vec<String>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl BudgetCommand {
    /// Runs the command.
    ///
    /// # Errors
    /// Faults of the board file and of the user's cards, unknown parts, a folder that cannot be written to.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let board = board::read(&self.board)?;
        let (fitted, candidates) = self.parts(&catalogue, &board)?;
        let entry = |budget: Budget| Entry {
            holds: budget.holds(),
            production: self.units.or(board.yearly_volume).filter(|n| *n > 0).map(|n| budget.times.production(n)),
            budget,
        };
        let old = budget::compute(&board, fitted);
        let candidates: Vec<Candidate> = candidates
            .iter()
            .map(|card| budget::swapped(&board, fitted, card))
            .map(|new| Candidate { changes: compare::changes(&old, &new), entry: entry(new) })
            .collect();
        let mut body = Body { board: &board, fitted: entry(old), candidates, files: Vec::new() };
        if let Some(folder) = &self.svg {
            body.files = draw(folder, &body)?;
        }
        let holds = match body.candidates.as_slice() {
            [] => body.fitted.holds,
            candidates => candidates.iter().all(|candidate| candidate.entry.holds),
        };
        let exit = if holds { Exit::Usable } else { Exit::Against };
        Ok(Answer::new(options.reader(), "budget", exit, &body, || text::text(&body)))
    }

    /// The card of the fitted part and those of the candidates, each once.
    fn parts<'c>(&self, catalogue: &'c Catalogue, board: &Board) -> Result<(&'c Card, Vec<&'c Card>), Faults> {
        let mut faults = Vec::new();
        let fitted = catalogue.named(&board.fitted, &board.file, 0, "fitted").map_err(|fault| faults.push(fault)).ok();
        let mut cards: Vec<&Card> = Vec::new();
        for part in &self.candidates {
            match catalogue.named(part, "command line", 0, "--to") {
                Ok(card) if cards.iter().all(|known| known.id != card.id) => cards.push(card),
                Ok(_) => {}
                Err(fault) => faults.push(fault),
            }
        }
        match fitted {
            Some(fitted) => Faults(faults).or_ok((fitted, cards)),
            None => Err(Faults(faults)),
        }
    }
}

/// Writes the plots of every part, all or none.
fn draw(folder: &Path, body: &Body<'_>) -> Result<Vec<String>, Faults> {
    disk::folder_to_fill(folder)?;
    let mut drawings: BTreeMap<PathBuf, String> = BTreeMap::new();
    let entries = std::iter::once(&body.fitted).chain(body.candidates.iter().map(|candidate| &candidate.entry));
    for entry in entries {
        let part = &entry.budget.part;
        let plots = [("pull-up", plot::pull_up(&entry.budget, "pull-up")), ("wear", plot::wear(&entry.budget, "wear"))];
        drawings.extend(plots.map(|(what, drawing)| (folder.join(format!("{what}-{part}.svg")), drawing)));
    }
    let files: Vec<_> = drawings.iter().map(|(path, drawing)| (path.as_path(), drawing.as_bytes())).collect();
    disk::replace_all_in_folders(&files)?;
    Ok(drawings.keys().map(|path| path.display().to_string()).collect())
}

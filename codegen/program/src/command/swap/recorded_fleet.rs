//! Boards of which a table names recordings: those of a family are read once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use schemars::JsonSchema;
use serde::Serialize;

use super::recorded::{Recorded, Seen};
use crate::command::channels::OfRecording;
use pagewise_base::fault::Faults;
use pagewise_judge::board::Board;
use pagewise_judge::fleet::{self, Job};
use pagewise_judge::swap::Recording;
use pagewise_observe::Program;
use pagewise_part::card::{Card, Catalogue};

/// Fitted parts with what recordings show of them, by the board's file.
pub(in crate::command) type Parts = OnceLock<BTreeMap<String, Card>>;

/// The programs of boards that were recorded, with what they showed, by the board's file.
#[derive(Default)]
pub(in crate::command) struct Programs(BTreeMap<String, (Arc<Program>, Recorded)>);

/// What the recordings of a board showed.
#[derive(Debug, JsonSchema, Serialize)]
pub(super) struct OfBoard<'a> {
    /// Where the board is stated.
    file: &'a str,
    /// What was observed.
    recording: &'a Recorded,
}

impl Programs {
    /// The program of one board.
    pub(super) fn of_one(board: &Board, program: Program, recorded: Recorded) -> Self {
        Self(BTreeMap::from([(board.file.clone(), (Arc::new(program), recorded))]))
    }

    /// What each showed, by the board's file.
    pub(super) fn shown(&self) -> Vec<OfBoard<'_>> {
        self.0.iter().map(|(file, (_, recording))| OfBoard { file, recording }).collect()
    }

    /// What the recordings of a board showed.
    pub(super) fn of(&self, board: &Board) -> Option<&Recorded> {
        self.0.get(&board.file).map(|(_, recorded)| recorded)
    }

    /// Those of another table besides.
    pub(in crate::command) fn extend(&mut self, more: Self) {
        self.0.extend(more.0);
    }

    /// Gives each board that was recorded its program, and its part with what the recordings show of it.
    pub(in crate::command) fn give<'c>(&mut self, jobs: &mut [Job<'c>], parts: &'c Parts) {
        let mut cards = BTreeMap::new();
        for job in jobs.iter() {
            if let Some((program, recorded)) = self.0.get_mut(&job.board.file) {
                let card = recorded.fitted(job.old);
                recorded.check(program, &job.board, &card);
                cards.insert(job.board.file.clone(), card);
            }
        }
        let cards = parts.get_or_init(|| cards);
        for job in jobs {
            if let Some((program, _)) = self.0.get(&job.board.file) {
                let program: Arc<dyn Recording> = program.clone();
                job.recording = Some(program);
                job.old = &cards[&job.board.file];
            }
        }
    }
}

/// Reads boards; where a table names recordings, what they show stands in place of what the table says.
///
/// # Errors
/// Everything that is wrong with boards and recordings.
pub(in crate::command) fn read(
    paths: &[PathBuf],
    catalogue: &Catalogue,
    names: &BTreeMap<String, String>,
    channels: &OfRecording,
) -> Result<(fleet::files::Boards, Programs), Faults> {
    let mut read = fleet::files::read(paths, catalogue, names)?;
    let (mut faults, mut programs) = (Faults::default(), Programs::default());
    let mut seen: BTreeMap<&[PathBuf], Option<(Seen, Arc<Program>)>> = BTreeMap::new();
    for (board, text) in &mut read.boards {
        let Some(files) = read.recordings.get(&board.file) else { continue };
        let of_family = seen.entry(files).or_insert_with(|| match Seen::read(files, channels) {
            Ok(seen) => {
                let program = Arc::new(seen.program.clone());
                Some((seen, program))
            }
            Err(more) => {
                faults.0.extend(more.0);
                None
            }
        });
        let Some((seen, program)) = of_family else { continue };
        match seen.on(&board.file, text) {
            Ok((observed, new_text, recorded)) => {
                programs.0.insert(board.file.clone(), (Arc::clone(program), recorded));
                *text = head(text, files) + &new_text;
                *board = observed;
            }
            Err(more) => faults.0.extend(more.0),
        }
    }
    drop(seen);
    faults.or_ok((read, programs))
}

/// The remarks above a board, and where its firmware is from.
fn head(text: &str, files: &[PathBuf]) -> String {
    let name = |file: &PathBuf| file.as_path().file_name().map_or(Path::new(""), Path::new).display().to_string();
    let names: Vec<String> = files.iter().map(name).collect();
    let remarks: String =
        text.lines().take_while(|line| line.starts_with('#')).map(|line| format!("{line}\n")).collect();
    format!("{remarks}# Firmware as recorded: {}.\n", names.join(", ").replace(char::is_control, " "))
}

//! `pagewise classroom`: the page in the browser on which the simulated chip loses data.

use std::path::{Path, PathBuf};

use clap::Args;
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board::{self, Board};
use pagewise_judge::swap::{Fitted, Replay};
use pagewise_part::card::Catalogue;
use pagewise_teach::case::{self, Surroundings};
use pagewise_teach::page::{self, Opening};
use schemars::JsonSchema;
use serde::Serialize;

use super::channels::OfRecording;
use super::lessons::OfClass;
use super::swap::recorded;
use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers, plain};

/// Write a page for the browser in which a simulated part is driven step by step, with lessons on every hazard.
///
/// It is one file and asks for nothing over the network. With `--board` and `--to` it opens with the first failing transfer
/// of that swap, on both parts; with `--recording` too, with the first transfer of the recorded program that goes otherwise on
/// the candidate. `pagewise trial --classroom FILE` writes such a page of a run of a real program.
#[derive(Debug, Args)]
pub struct ClassroomCommand {
    /// File to write.
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// Lessons and texts besides our own.
    #[command(flatten)]
    pub class: OfClass,
    /// Write the teacher's pages too: minutes, usual errors, answers.
    #[arg(long, value_name = "FILE")]
    pub teacher: Option<PathBuf>,
    /// Open with the failing transfer of a swap on this board.
    #[arg(long, value_name = "FILE", requires = "to")]
    pub board: Option<PathBuf>,
    /// The candidate of that swap.
    #[arg(long, value_name = "PART", requires = "board")]
    pub to: Option<String>,
    /// A recording of that board's bus (session file, value change dump or table); may be repeated, in the order of time. The
    /// page opens with the first of its transfers that fails on the candidate.
    #[arg(long = "recording", value_name = "FILE", requires = "board")]
    pub recordings: Vec<PathBuf>,
    /// Which channels of the recordings are the bus.
    #[command(flatten)]
    pub channels: OfRecording,
}

fn none_fails(board: &Board, what: &str, part: &str) -> Faults {
    let reason = format!("no {what} fails with {part} on this board");
    Fault::of_file(&board.file, reason, "`pagewise swap` says what it comes to").into()
}

#[derive(JsonSchema, Serialize)]
struct Body {
    file: String,
    bytes: usize,
    parts: usize,
    lessons: Vec<String>,
    teacher: Option<String>,
    /// The program that the page opens with.
    opens_with: String,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl ClassroomCommand {
    /// The failing transfer of a swap, or of a recorded program.
    fn case(&self, catalogue: &Catalogue, path: &Path, to: &str) -> Result<Opening, Faults> {
        if self.recordings.is_empty() {
            let board = board::read(path)?;
            let (old, new) = (find(catalogue, &board.fitted)?, find(catalogue, to)?);
            let opening = case::of_swap(&board, old, new);
            return opening.ok_or_else(|| none_fails(&board, "transfer", &new.id));
        }
        let (board, program, mut recorded) = recorded::read(path, &self.recordings, &self.channels)?;
        let (old, new) = (recorded.fitted(find(catalogue, &board.fitted)?), find(catalogue, to)?);
        let Replay { old_card, new_card, .. } = Fitted::new(&board, &old).replay(new);
        let others = program.others();
        let surroundings = Surroundings {
            name: &board.name,
            supply_mv: board.bus.supply_mv,
            scl_hz: board.bus.scl_khz * 1000,
            straps: case::straps(&board, &new_card),
            others: &others,
            contents: None,
        };
        let [old, new] = [&old_card, &new_card].map(|card| (card.name.as_str(), card.chip_model()));
        case::of_transfers(&surroundings, &program.notation(), None, old, new)
            .ok_or_else(|| none_fails(&board, "recorded transfer that a page has room for", to))
    }

    /// Runs the command.
    ///
    /// # Errors
    /// Faults of cards, lessons, texts and board; a swap that loses nothing; a file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let (lessons, texts) = self.class.read(&catalogue)?;
        let opening = match (&self.board, &self.to) {
            (Some(path), Some(to)) => self.case(&catalogue, path, to)?,
            _ => Opening::of_the_house(),
        };
        let html = page::classroom(&catalogue, &lessons, &texts, &opening);
        let teacher = self.teacher.as_ref().map(|path| (path, page::teacher(&lessons, &texts)));
        let mut files = vec![(self.output.as_path(), html.as_bytes())];
        if let Some((path, text)) = &teacher {
            files.push((path.as_path(), text.as_bytes()));
        }
        disk::replace_all(&files)?;
        let body = Body {
            file: self.output.display().to_string(),
            bytes: html.len(),
            parts: catalogue.parts().count(),
            lessons: lessons.0.iter().map(|lesson| lesson.name.clone()).collect(),
            teacher: self.teacher.as_ref().map(|path| path.display().to_string()),
            opens_with: opening.program.clone(),
        };
        Ok(Answer::new(options.reader(), "classroom", Exit::Usable, &body, || {
            let kib = body.bytes.div_ceil(1024);
            let (parts, lessons) = (body.parts, body.lessons.len());
            let mut text =
                format!("{}: {parts} parts, {lessons} lessons, {kib} KiB; open it in a browser\n", plain(&body.file));
            if let Some(teacher) = &body.teacher {
                text.push_str(&format!("{}: for the teacher\n", plain(teacher)));
            }
            text
        }))
    }
}

//! `pagewise classroom`: the page in the browser on which the simulated chip loses data.

use std::path::PathBuf;

use clap::Args;
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board;
use pagewise_teach::case;
use pagewise_teach::page::{self, Opening};
use schemars::JsonSchema;
use serde::Serialize;

use super::lessons::OfClass;
use super::{Options, find};
use crate::output::{Answer, Exit, Shape, answers, plain};

/// Write a page for the browser in which a simulated part is driven step by step, with lessons on every hazard.
///
/// It is one file and asks for nothing over the network. With `--board` and `--to` it opens with the first failing transfer
/// of that swap, on both parts.
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
    /// Runs the command.
    ///
    /// # Errors
    /// Faults of cards, lessons, texts and board; a swap that loses nothing; a file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let (lessons, texts) = self.class.read(&catalogue)?;
        let opening = match (&self.board, &self.to) {
            (Some(path), Some(to)) => {
                let board = board::read(path)?;
                let (old, new) = (find(&catalogue, &board.fitted)?, find(&catalogue, to)?);
                case::of_swap(&board, old, new).ok_or_else(|| {
                    let reason = format!("no transfer fails with {} on this board", new.id);
                    Fault::of_file(&board.file, reason, "`pagewise swap` says what it comes to")
                })?
            }
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

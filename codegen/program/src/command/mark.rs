//! `pagewise mark`: what students handed in, replayed and marked.

use std::path::PathBuf;

use clap::Args;
use pagewise_base::disk;
use pagewise_base::fault::Faults;
use pagewise_teach::mark::{self, Mark as Row};
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::lessons::OfClass;
use crate::output::{Align, Answer, Exit, Shape, answers, plain, table};

/// Mark what students handed in from the classroom: files that the page saved, or texts with its links.
///
/// Each program is tried on every part of its lesson, also on those that the page does not know. Answers that the page
/// showed do not count. A text that is the same as another one's is named; short programs often are.
#[derive(Debug, Args)]
pub struct Mark {
    /// Folder with the files.
    #[arg(value_name = "FOLDER")]
    pub folder: PathBuf,
    /// Write the marks to this file, as comma-separated values.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Lessons and texts besides our own.
    #[command(flatten)]
    pub class: OfClass,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    file: Option<String>,
    marks: &'a [Row],
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Mark {
    /// Runs the command.
    ///
    /// # Errors
    /// A folder that cannot be read or holds no file; faults of lessons and texts; a file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let (lessons, texts) = self.class.read(&catalogue)?;
        let marks = mark::folder(&self.folder, &lessons, &texts)?;
        if let Some(path) = &self.output {
            disk::replace_bytes(path, &mark::csv(&marks))?;
        }
        let file = self.output.as_ref().map(|path| path.display().to_string());
        let body = Body { file: file.clone(), marks: &marks };
        Ok(Answer::new(options.reader(), "mark", Exit::Usable, &body, || {
            let row = |mark: &Row| {
                let name = if mark.name.is_empty() { &mark.file } else { &mark.name };
                let passed = format!("{} of {}", mark.passed, mark.checks);
                vec![plain(name), plain(&mark.lesson), mark.points.to_string(), passed, plain(&mark.failed_on)]
            };
            let columns = [
                ("name", Align::Left),
                ("lesson", Align::Left),
                ("points", Align::Right),
                ("passed", Align::Left),
                ("failed on", Align::Left),
            ];
            let mut lines = table(&columns, marks.iter().map(row).collect());
            if let Some(file) = &file {
                lines.push(format!("{}: with the first failing transfer and a sentence each", plain(file)));
            }
            lines.join("\n")
        }))
    }
}

//! `pagewise marking`: what a marking or an order code says, and what it does not.

mod text;

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::marking::{Reader, Reading};

/// Longest text that is read as one marking, in bytes.
const LONGEST: usize = 1024;

/// Read markings and order codes: family, density, matching cards, how sure that is and why.
#[derive(Debug, Args)]
#[command(after_help = "Exit code 1 when a marking is of a family that cannot serve as an I2C EEPROM.")]
pub struct Marking {
    /// Marking or order code as printed on a chip, or as it stands in a bill of materials.
    #[arg(value_name = "TEXT", required_unless_present = "file")]
    pub texts: Vec<String>,
    /// A list with one marking per line, such as a column of a bill of materials; empty lines are skipped.
    #[arg(long, value_name = "LIST")]
    pub file: Option<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Line {
    /// Line of the list, counted from 1; 0 for a text of the command line.
    line: usize,
    #[serde(flatten)]
    reading: Reading,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    count: usize,
    wrong_family: usize,
    readings: Vec<Line>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl Marking {
    /// Runs the command.
    ///
    /// # Errors
    /// A list that cannot be read or is not text, a text that is too long; faults of the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let texts = self.gather()?;
        let catalogue = options.catalogue()?;
        let reader = Reader::new(&catalogue);
        let readings: Vec<Line> =
            texts.into_iter().map(|(line, text)| Line { line, reading: reader.read(&text) }).collect();
        let wrong_family = readings.iter().filter(|line| line.reading.is_wrong_family()).count();
        let exit = if wrong_family > 0 { Exit::Against } else { Exit::Usable };
        let body = Body { count: readings.len(), wrong_family, readings };
        Ok(Answer::new(options.reader(), "marking", exit, &body, || text::text(&body)))
    }

    fn gather(&self) -> Result<Vec<(usize, String)>, Faults> {
        let mut texts: Vec<(usize, String)> = self.texts.iter().map(|text| (0, text.clone())).collect();
        let mut faults = Vec::new();
        for (index, text) in self.texts.iter().enumerate() {
            if text.len() > LONGEST {
                let reason =
                    format!("text {} has {} bytes; no marking is longer than {LONGEST}", index + 1, text.len());
                faults.push(Fault::of_file("TEXT", reason, "give one marking per text"));
            } else if text.trim().is_empty() {
                faults.push(Fault::of_file("TEXT", format!("text {} is empty", index + 1), "write a marking"));
            }
        }
        if let Some(path) = &self.file {
            match read_list(path) {
                Ok(lines) => texts.extend(lines),
                Err(more) => faults.extend(more.0),
            }
        }
        Faults(faults).or_ok(texts)
    }
}

fn read_list(path: &Path) -> Result<Vec<(usize, String)>, Faults> {
    let file = path.display().to_string();
    let bytes = fs::read(path).map_err(|error| Fault::unreadable(&file, &error))?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let line =
            error.as_bytes()[..error.utf8_error().valid_up_to()].iter().filter(|byte| **byte == b'\n').count() + 1;
        let reason = "is not UTF-8 text".to_owned();
        Fault { line, reason, ..Fault::of_file(&file, "", "save it as plain text, UTF-8, one marking per line") }
    })?;
    let mut faults = Vec::new();
    let mut lines = Vec::new();
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        if line.len() > LONGEST {
            let reason = format!("{} bytes; no marking is longer than {LONGEST}", line.len());
            faults.push(Fault { line: index + 1, ..Fault::of_file(&file, reason, "put one marking on a line") });
        } else if !line.trim().is_empty() {
            lines.push((index + 1, line.trim().to_owned()));
        }
    }
    if lines.is_empty() && faults.is_empty() {
        faults.push(Fault::of_file(&file, "holds no marking", "put one marking on each line"));
    }
    Faults(faults).or_ok(lines)
}

//! `pagewise observe`: what firmware does, told from recordings of the real bus.

mod text;

use std::path::PathBuf;

use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};

use super::Options;
use super::channels::OfRecording;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_observe::{Input, board_file, observe};

/// Tell from recordings of the real bus what the firmware does, how sure that is, and where it shows.
#[derive(Debug, Args)]
#[command(
    after_help = "A recording is a session file (.sr), a value change dump (.vcd) or a table (.csv); their order is \
                        that of time. Channels named SCL and SDA are found, and VCC, VDD or SUPPLY."
)]
pub struct Observe {
    /// Recordings of the same board: session file, value change dump or table.
    #[arg(value_name = "RECORDING", required = true)]
    pub recordings: Vec<PathBuf>,
    /// Write a board file: what was observed, and a question for what no recording shows.
    #[arg(long, value_name = "FILE")]
    pub board: Option<PathBuf>,
    /// Which channels are the bus.
    #[command(flatten)]
    pub channels: OfRecording,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<pagewise_observe::Observation>];

impl Observe {
    /// Runs the command.
    ///
    /// # Errors
    /// Every recording that cannot be read or carries no I2C, and why; a board file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        if let Some(path) = self.board.as_ref().filter(|board| self.recordings.contains(board)) {
            let reason = "is a recording, and --board would write over it";
            return Err(Fault::of_file(&path.display().to_string(), reason, "name another file for the board").into());
        }
        let inputs: Vec<Input> = self.recordings.iter().map(|path| self.channels.input(path)).collect();
        let bar = bar(inputs.len(), options.json);
        let seen = observe(&inputs, &mut |file, share| bar.set_position(file as u64 * 1000 + (share * 1000.0) as u64));
        bar.finish_and_clear();
        let seen = seen?;
        if let Some(path) = &self.board {
            disk::replace(path, &board_file(&seen))?;
        }
        let written = self.board.as_ref().map(|path| path.display().to_string());
        Ok(Answer::new(options.reader(), "observe", Exit::Usable, &seen, || text::text(&seen, written.as_deref())))
    }
}

/// A bar on standard error, a thousand steps for each recording; nothing where that is not a terminal.
fn bar(files: usize, json: bool) -> ProgressBar {
    if json {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(files as u64 * 1000);
    let style = ProgressStyle::with_template("{percent} % read {wide_bar} {eta} left");
    bar.with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

//! `pagewise play`: a program in a file, on any part, step by step.

use std::fs;
use std::path::PathBuf;

use clap::Args;
use pagewise_player::view::first_difference;
use pagewise_player::{Bench, Program};
use schemars::JsonSchema;
use serde::Serialize;

use super::steps::{Played, faults_of};
use super::{Options, find};
use crate::output::{Answer, Exit, Shape, Tone, answers, paint};
use pagewise_base::fault::{Fault, Faults};

/// Play a bus program on a simulated part, step by step.
///
/// The program is in the notation of the traces (`S 50W 00 10 80..AF P`), with waits, cuts of the supply and pins as lines
/// of their own; `pagewise classroom` plays the same in a browser.
#[derive(Debug, Args)]
pub struct Play {
    /// File with the program.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Identifier or order code of a card (`pagewise parts` lists them).
    #[arg(long, value_name = "PART")]
    pub part: String,
    /// Another part on the same program; the first step at which they differ is named.
    #[arg(long, value_name = "PART")]
    pub beside: Option<String>,
    /// Say only what it came to.
    #[arg(long)]
    pub short: bool,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    runs: &'a [Played],
    /// First step at which two parts differ, from 1.
    difference: Option<usize>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Play {
    /// Runs the command.
    ///
    /// # Errors
    /// A file that cannot be read, everything that is wrong with the program, an unknown part.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let file = self.file.display().to_string();
        let text = fs::read_to_string(&self.file).map_err(|error| Fault::unreadable(&file, &error))?;
        let (board, program) = Program::parse(&text).map_err(|faults| faults_of(&file, faults))?;
        let mut cards = vec![find(&catalogue, &self.part)?];
        if let Some(beside) = &self.beside {
            cards.push(find(&catalogue, beside)?);
        }
        let played = cards.into_iter().map(|card| {
            let model = card.chip_model();
            let fault = |reason| Fault::of_file(&card.id, reason, "correct the card");
            model.check().map_err(fault)?;
            Ok(Played::new(&Bench { model, board: board.clone() }, &program))
        });
        let (played, runs): (Vec<Played>, Vec<_>) = played.collect::<Result<Vec<_>, Fault>>()?.into_iter().unzip();
        let difference = match &runs[..] {
            [one, other] => first_difference(one, other),
            _ => None,
        };
        let body = Body { runs: &played, difference };
        let against = played.iter().any(|run| run.exit() == Exit::Against);
        let exit = if against { Exit::Against } else { Exit::Usable };
        Ok(Answer::new(options.reader(), "play", exit, &body, || {
            let mut texts: Vec<String> = played.iter().map(|run| run.text(!self.short)).collect();
            if runs.len() == 2 {
                texts.push(match difference {
                    Some(step) => paint(Tone::Strong, format!("they first differ at step {step}")),
                    None => "they do not differ on this program".to_owned(),
                });
            }
            texts.join("\n")
        }))
    }
}

//! `pagewise model`: the simulated chip of a part as a file, for programs in other languages.

use std::path::PathBuf;

use clap::Args;
use pagewise_simulator::ChipModel;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, find, values};
use crate::output::{Answer, Exit, Shape, answers, plain};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Footprint;

/// Write the simulated chip of a part as a model file, for firmware in C and other doors of the simulator.
#[derive(Debug, Args)]
pub struct Model {
    /// Identifier or order code of a card (`pagewise parts` lists them).
    #[arg(value_name = "PART")]
    pub part: String,
    /// Package by its footprint: soic-8, sot-23-5, ...
    #[arg(long, value_name = "FOOTPRINT", value_parser = values::footprint)]
    pub package: Option<Footprint>,
    /// Write to this file instead of standard output.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'c> {
    card: &'c str,
    file: Option<String>,
    model: &'c ChipModel,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Model {
    /// Runs the command.
    ///
    /// # Errors
    /// An unknown part, a file that cannot be written; faults of the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let card = find(&catalogue, &self.part)?;
        let model = self.package.map_or_else(|| card.clone(), |footprint| card.in_footprint(footprint)).chip_model();
        let file = serde_json::to_string_pretty(&model)
            .map_err(|error| Fault::of_file(&card.id, format!("has no model file: {error}"), ""))?
            + "\n";
        if let Some(path) = &self.output {
            disk::replace(path, &file)?;
        }
        let shown = self.output.as_ref().map(|path| path.display().to_string());
        let body = Body { card: &card.id, file: shown.clone(), model: &model };
        Ok(Answer::new(options.reader(), "model", Exit::Usable, &body, || match &shown {
            Some(path) => format!("{}: simulated chip of {} ({})\n", plain(path), plain(&card.id), card.density()),
            None => file,
        }))
    }
}

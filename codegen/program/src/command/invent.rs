//! `pagewise invent`: a fleet of invented boards.

use std::path::PathBuf;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use crate::output::{Answer, Exit, Shape, answers, plain};
use pagewise_base::disk;
use pagewise_base::fault::Faults;
use pagewise_judge::fleet::invent;

/// Write a fleet of invented boards, for demonstrations and benches.
#[derive(Debug, Args)]
pub struct Invent {
    /// How many boards.
    #[arg(long, value_name = "COUNT", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=invent::MOST as i64))]
    pub boards: u32,
    /// Seed: the same one gives the same boards, as long as the cards stay the same.
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,
    /// Folder to write them to; it must not exist yet, or be empty.
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    folder: String,
    count: usize,
    seed: u64,
    files: Vec<&'a str>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Invent {
    /// Runs the command.
    ///
    /// # Errors
    /// Faults of the user's cards; a folder that holds something or cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let files = invent::fleet(&catalogue, self.boards as usize, self.seed);
        let texts: Vec<(&str, &str)> = files.iter().map(|file| (file.name.as_str(), file.text.as_str())).collect();
        disk::make_folder(&self.output, &texts)?;
        let folder = self.output.display().to_string();
        let body = Body {
            count: files.len(),
            seed: self.seed,
            files: files.iter().map(|file| file.name.as_str()).collect(),
            folder: folder.clone(),
        };
        Ok(Answer::new(options.reader(), "invent", Exit::Usable, &body, || {
            format!("{}: {} invented boards from seed {}\n", plain(&folder), files.len(), self.seed)
        }))
    }
}

//! `pagewise invent`: a fleet of invented boards.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::Options;
use crate::output::{Answer, Exit, plain};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::scratch;
use pagewise_judge::fleet::invent::{self, BoardFile};

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

#[derive(Serialize)]
struct Body<'a> {
    folder: String,
    count: usize,
    seed: u64,
    files: Vec<&'a str>,
}

impl Invent {
    /// Runs the command.
    ///
    /// # Errors
    /// Faults of the user's cards; a folder that holds something or cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let files = invent::fleet(&catalogue, self.boards as usize, self.seed);
        write_all(&self.output, &files)?;
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

/// Writes the files to a folder beside, which then takes its place, so that there is all or nothing.
fn write_all(folder: &Path, files: &[BoardFile]) -> Result<(), Fault> {
    let shown = folder.display().to_string();
    let fault = |error: io::Error| {
        Fault::of_file(&shown, format!("cannot be written: {error}"), "check the path and its permissions")
    };
    if folder.exists() {
        if !folder.is_dir() {
            return Err(Fault::of_file(&shown, "is not a folder", "name a new folder"));
        }
        if fs::read_dir(folder).map_err(fault)?.next().is_some() {
            return Err(Fault::of_file(&shown, "is not empty", "name a new folder, or empty this one"));
        }
    }
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !parent.is_dir() {
        return Err(Fault::of_file(&shown, "lies in a folder that does not exist", "create that folder first"));
    }
    let draft = scratch::folder_in(parent).map_err(fault)?;
    for file in files {
        fs::write(draft.path().join(&file.name), &file.text).map_err(fault)?;
    }
    if folder.exists() {
        fs::remove_dir(folder).map_err(fault)?;
    }
    fs::rename(draft.path(), folder).map_err(fault)?;
    // It has moved: there is nothing left to remove.
    let _ = draft.keep();
    Ok(())
}

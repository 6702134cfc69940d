//! `pagewise manual`: manual pages, one for the program, for each command and for each chapter of the manual.

use std::path::PathBuf;

use clap::{Args, CommandFactory};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, Program};
use crate::chapters::chapters;
use crate::output::{Answer, Exit, Shape, answers, plain};
use pagewise_base::disk::{self, Written};
use pagewise_base::fault::{Fault, Faults};

/// Write the manual pages.
#[derive(Debug, Args)]
pub struct Manual {
    /// Folder that they are written to; made if it does not exist.
    #[arg(short, long, value_name = "FOLDER")]
    pub output: PathBuf,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    files: Vec<FileBody>,
}

#[derive(JsonSchema, Serialize)]
struct FileBody {
    file: String,
    file_changed: bool,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl Manual {
    /// Runs the command.
    ///
    /// # Errors
    /// A folder that cannot be made or written to.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        disk::folder_to_fill(&self.output)?;
        let pages =
            pages().map_err(|error| Fault::of_file("manual", format!("cannot be rendered: {error}"), "report this"))?;
        let paths: Vec<(PathBuf, Vec<u8>)> =
            pages.into_iter().map(|(name, page)| (self.output.join(name), page)).collect();
        let files: Vec<_> = paths.iter().map(|(path, page)| (path.as_path(), page.as_slice())).collect();
        let written = disk::replace_all_in_folders(&files)?;
        let files = paths.iter().zip(&written);
        let files: Vec<FileBody> = files
            .map(|((path, _), written)| FileBody {
                file: path.display().to_string(),
                file_changed: *written == Written::Anew,
            })
            .collect();
        let text: String = files.iter().map(|file| format!("{}\n", plain(&file.file))).collect();
        Ok(Answer::new(options.reader(), "manual", Exit::Usable, &Body { files }, || text))
    }
}

/// File name and text of every page.
fn pages() -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut program = Program::command();
    program.build();
    let mut commands = vec![program.clone()];
    commands.extend(program.get_subcommands().cloned());
    let mut pages = Vec::new();
    for command in commands {
        let whole = command.get_bin_name().unwrap_or("pagewise").replace(' ', "-");
        let man = clap_mangen::Man::new(command);
        let mut page = Vec::new();
        man.render(&mut page)?;
        pages.push((format!("{whole}.1"), page));
    }
    pages.extend(
        chapters().into_iter().map(|chapter| (format!("pagewise-{}.7", chapter.topic), chapter.page().into_bytes())),
    );
    Ok(pages)
}

//! `pagewise schema`: the shape of a file kind as JSON Schema.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;
use serde_json::Value;

use super::Options;
use crate::output::{Answer, Exit, plain};
use crate::schema::{self, FileKind};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};

/// Write the JSON Schema of a kind of file, for editors.
#[derive(Debug, Args)]
pub struct Schema {
    /// Kind of file.
    #[arg(value_name = "KIND", value_enum)]
    pub kind: FileKind,
    /// Write to this file instead of standard output.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

#[derive(Serialize)]
struct Body<'a> {
    kind: FileKind,
    file: Option<String>,
    schema: &'a Value,
}

impl Schema {
    /// Runs the command.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let schema = schema::schema(self.kind);
        let text = serde_json::to_string_pretty(schema)
            .map_err(|error| Fault::of_file("schema", error.to_string(), "report this"))?
            + "\n";
        if let Some(path) = &self.output {
            disk::replace(path, &text)?;
        }
        let file = self.output.as_ref().map(|path| path.display().to_string());
        let body = Body { kind: self.kind, file: file.clone(), schema };
        Ok(Answer::new(options.reader(), "schema", Exit::Usable, &body, || match &file {
            Some(path) => format!("{}: written\n", plain(path)),
            None => text,
        }))
    }
}

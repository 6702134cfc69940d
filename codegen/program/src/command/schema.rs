//! `pagewise schema`: the shape of a file kind as JSON Schema.

use std::path::PathBuf;

use clap::Args;
use clap::builder::PossibleValuesParser;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use super::Options;
use crate::output::{Answer, Exit, Shape, answers, plain};
use crate::schema::{self, FileKind};
use pagewise_base::disk;
use pagewise_base::fault::{Fault, Faults};

/// Write the JSON Schema of a kind of file, for editors, or of what a command prints with `--json`.
#[derive(Debug, Args)]
pub struct Schema {
    /// Kind of file.
    #[arg(value_name = "KIND", value_enum, required_unless_present = "answer")]
    pub kind: Option<FileKind>,
    /// The schema of what this command prints with `--json`.
    #[arg(long, value_name = "COMMAND", conflicts_with = "kind", value_parser = PossibleValuesParser::new(schema::answering()))]
    pub answer: Option<String>,
    /// Write to this file instead of standard output.
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    /// Kind of file.
    kind: Option<FileKind>,
    /// The command whose answer it is.
    answer: Option<&'a str>,
    /// Where it was written; null: standard output.
    file: Option<String>,
    schema: &'a Value,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl Schema {
    /// Runs the command.
    ///
    /// # Errors
    /// A file that cannot be written.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let answer = self.answer.as_deref();
        let schema = match (self.kind, answer.and_then(schema::answer)) {
            (Some(kind), _) => schema::schema(kind).clone(),
            (None, answer) => answer.unwrap_or_default(),
        };
        let text = serde_json::to_string_pretty(&schema)
            .map_err(|error| Fault::of_file("schema", error.to_string(), "report this"))?
            + "\n";
        if let Some(path) = &self.output {
            disk::replace(path, &text)?;
        }
        let file = self.output.as_ref().map(|path| path.display().to_string());
        let body = Body { kind: self.kind, answer, file: file.clone(), schema: &schema };
        Ok(Answer::new(options.reader(), "schema", Exit::Usable, &body, || match &file {
            Some(path) => format!("{}: written\n", plain(path)),
            None => text,
        }))
    }
}

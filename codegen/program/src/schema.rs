//! The shapes of files as JSON Schema, for editors and for checks in other programs: the declarations that the readers
//! themselves follow.

use serde_json::Value;

use crate::command as by;
use crate::output::{self, Shape};
use pagewise_content::layout;
use pagewise_judge::{board, decision, stock};
use pagewise_part::card;
use pagewise_teach::lesson;

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum, schemars::JsonSchema, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FileKind {
    /// A part's card.
    Card,
    /// A board file.
    Board,
    /// A layout file.
    Layout,
    /// Which column of a stock list is which.
    Columns,
    /// A lesson of the classroom.
    Lesson,
    /// A decision file.
    Decision,
}

/// The JSON Schema (2020-12) of a kind of file.
#[must_use]
pub fn schema(kind: FileKind) -> &'static Value {
    match kind {
        FileKind::Card => card::file::SHAPE.schema(),
        FileKind::Board => board::file::SHAPE.schema(),
        FileKind::Layout => layout::file::SHAPE.schema(),
        FileKind::Columns => stock::columns::SHAPE.schema(),
        FileKind::Lesson => lesson::file::SHAPE.schema(),
        FileKind::Decision => decision::file::SHAPE.schema(),
    }
}

/// What each command prints with `--json`.
const ANSWERS: &[(&str, &[Shape])] = &[
    ("parts", by::parts::ANSWERS),
    ("show", by::show::ANSWERS),
    ("generate", by::generate::ANSWERS),
    ("swap", by::swap::ANSWERS),
    ("budget", by::budget::ANSWERS),
    ("marking", by::marking::ANSWERS),
    ("survey", by::survey::ANSWERS),
    ("merge", by::merge::ANSWERS),
    ("boards", by::boards::ANSWERS),
    ("order", by::order::ANSWERS),
    ("decide", by::decide::ANSWERS),
    ("exposed", by::exposed::ANSWERS),
    ("invent", by::invent::ANSWERS),
    ("hazards", by::hazards::ANSWERS),
    ("play", by::play::ANSWERS),
    ("classroom", by::classroom::ANSWERS),
    ("mark", by::mark::ANSWERS),
    ("program", by::program::ANSWERS),
    ("verify", by::verify::ANSWERS),
    ("measure", by::measure::ANSWERS),
    ("dump", by::dump::ANSWERS),
    ("model", by::model::ANSWERS),
    ("layout", by::layout::ANSWERS),
    ("image", by::image::ANSWERS),
    ("move", by::moving::ANSWERS),
    ("inspect", by::inspect::ANSWERS),
    ("observe", by::observe::ANSWERS),
    #[cfg(target_os = "linux")]
    ("bridge", by::bridge::ANSWERS),
    #[cfg(target_os = "linux")]
    ("trial", by::trial::ANSWERS),
    ("schema", by::schema::ANSWERS),
    ("completions", by::completions::ANSWERS),
    ("manual", by::manual::ANSWERS),
    ("help", by::help::ANSWERS),
];

/// The commands whose answers have a schema: all of them.
pub fn answering() -> impl Iterator<Item = &'static str> {
    ANSWERS.iter().map(|(command, _)| *command)
}

/// The JSON Schema (2020-12) of what a command prints with `--json`.
#[must_use]
pub fn answer(command: &str) -> Option<Value> {
    let (_, bodies) = ANSWERS.iter().find(|(known, _)| *known == command)?;
    Some(output::schema_of(command, bodies))
}

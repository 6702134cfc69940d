//! The shapes of files as JSON Schema, for editors and for checks in other programs: the declarations that the readers
//! themselves follow.

use serde_json::Value;

use pagewise_content::layout;
use pagewise_judge::{board, stock};
use pagewise_part::card;
use pagewise_teach::lesson;

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum, serde::Serialize)]
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
    }
}

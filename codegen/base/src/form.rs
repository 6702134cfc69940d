//! Reading a TOML file as its declaration says: every fault noted with its line, unknown fields refused.
//!
//! Deserialising into a struct stops at the first fault; a person who fixes a card wants all of them at once. So the
//! struct of a kind of file is its one declaration: [`Shape`] takes its JSON Schema, checks a [`Document`] against it,
//! field by field, and hands over the struct. What depends on several fields is checked by the kind's own reader, which
//! notes its faults by the path of the field ([`Document::fault`]).
//!
//! # Examples
//!
//! ```
//! use pagewise_base::form::{Document, Shape};
//!
//! /// A label.
//! #[derive(serde::Deserialize, schemars::JsonSchema)]
//! #[serde(deny_unknown_fields)]
//! struct Label {
//!     /// What stands on it.
//!     #[schemars(regex(pattern = r"\S"))]
//!     text: String,
//!     /// Height in millimetres.
//!     #[schemars(range(min = 3, max = 60))]
//!     height_mm: Option<u32>,
//! }
//!
//! let document = Document::parse("label.toml", "text = \"ready\"\nheight_mm = 70\n");
//! let label = Shape::<Label>::new().read(&document);
//! assert!(label.is_some_and(|label| label.text == "ready" && label.height_mm.is_none()));
//! let faults = document.finish().to_string();
//! assert_eq!(faults, "label.toml:2: `height_mm`: 70 is out of range; use a value from 3 to 60");
//! ```

mod said;
mod shape;
pub mod word;

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::fault::{Fault, Faults};
pub use shape::{Field, Shape};

/// A TOML text with its name, parsed as far as it goes.
pub struct Document<'t> {
    file: &'t str,
    text: &'t str,
    root: Spanned<DeTable<'t>>,
    faults: RefCell<Vec<Fault>>,
    /// Paths of the fields that are not as the declaration says.
    misshapen: RefCell<BTreeSet<String>>,
}

impl<'t> Document<'t> {
    /// Parses `text`; syntax faults are kept and reported by [`Document::finish`].
    #[must_use]
    pub fn parse(file: &'t str, text: &'t str) -> Self {
        let (root, errors) = DeTable::parse_recoverable(text);
        let document = Self { file, text, root, faults: RefCell::default(), misshapen: RefCell::default() };
        for error in errors {
            let line = error.span().map_or(0, |span| document.line(&span));
            let reason = format!("not valid TOML: {}", error.message().replace('\n', ", "));
            document.note(line, "", reason, "correct the syntax".into());
        }
        document
    }

    /// Whether something was wrong so far.
    #[must_use]
    pub fn is_faulty(&self) -> bool {
        !self.faults.borrow().is_empty()
    }

    /// All faults noted.
    #[must_use]
    pub fn finish(self) -> Faults {
        Faults(self.faults.into_inner())
    }

    /// Notes a fault of the field at `path`, such as `speed[1].scl_khz`. A field that has been refused for its shape
    /// already, or lies in a table that has, keeps that one message.
    pub fn fault(&self, path: &str, reason: impl Into<String>, remedy: impl Into<String>) {
        if self.is_sound(path) {
            self.note(self.line_of(path), path, reason.into(), remedy.into());
        }
    }

    /// Whether the field at `path` and the tables that it lies in have the shape that was declared.
    #[must_use]
    pub fn is_sound(&self, path: &str) -> bool {
        let ends = path.match_indices(['.', '[']).map(|(end, _)| end).chain([path.len()]);
        let misshapen = self.misshapen.borrow();
        !ends.into_iter().any(|end| misshapen.contains(&path[..end]))
    }

    /// Whether every field below `path` has the shape that was declared.
    #[must_use]
    pub fn is_sound_below(&self, path: &str) -> bool {
        self.is_sound(path) && !self.misshapen.borrow().iter().any(|other| other.starts_with(path))
    }

    /// Line of the field at `path`, or of the table in which it is absent.
    #[must_use]
    pub fn line_of(&self, path: &str) -> usize {
        let mut at = 1;
        let mut here: Option<&DeTable<'t>> = Some(self.root.get_ref());
        for piece in path.split('.').filter(|piece| !piece.is_empty()) {
            let (key, index) = match piece.split_once('[') {
                Some((key, index)) => (key, index.trim_end_matches(']').parse::<usize>().ok()),
                None => (piece, None),
            };
            let Some((name, value)) = here.and_then(|table| table.iter().find(|(name, _)| name.get_ref() == key))
            else {
                return at;
            };
            let value = match (value.get_ref(), index) {
                (DeValue::Array(items), Some(index)) => items.get(index).unwrap_or(value),
                _ => value,
            };
            at = if index.is_some() { self.line(&value.span()) } else { self.line(&name.span()) };
            here = if let DeValue::Table(table) = value.get_ref() { Some(table) } else { None };
        }
        at
    }

    fn line(&self, span: &Range<usize>) -> usize {
        self.text.as_bytes().iter().take(span.start).filter(|byte| **byte == b'\n').count() + 1
    }

    fn note(&self, line: usize, field: &str, reason: String, remedy: String) {
        self.faults.borrow_mut().push(Fault { file: self.file.into(), line, field: field.into(), reason, remedy });
    }
}

/// Writes the path of a field in a table, whose own path is empty at the top of a file.
#[must_use]
pub fn path(table: &str, key: &str) -> String {
    if table.is_empty() { key.to_owned() } else { format!("{table}.{key}") }
}

#[cfg(test)]
mod tests;

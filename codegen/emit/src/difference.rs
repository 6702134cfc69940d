//! What is on disk compared with what would be generated.

use std::fs;
use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;
use similar::TextDiff;

/// How a file compares with its text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// The file holds the text.
    Same,
    /// It holds something else.
    Different,
    /// There is no file.
    Missing,
    /// The file cannot be read, or is not text.
    Unreadable,
}

/// A comparison of one file.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Difference {
    /// How it compares.
    pub state: State,
    /// What would change, as a unified difference: lines of the file with `-`, lines of the text with `+`. Empty where
    /// there is nothing to compare.
    pub lines: String,
}

/// Compares the file at `path` with `text`.
#[must_use]
pub fn compare(path: &Path, text: &str) -> Difference {
    let old = match fs::read(path) {
        Ok(bytes) => String::from_utf8(bytes).ok(),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Difference { state: State::Missing, lines: String::new() };
        }
        Err(_) => None,
    };
    let Some(old) = old else { return Difference { state: State::Unreadable, lines: String::new() } };
    if old == text {
        return Difference { state: State::Same, lines: String::new() };
    }
    let diff = TextDiff::from_lines(old.as_str(), text);
    let lines = diff.unified_diff().context_radius(2).header("on disk", "generated").to_string();
    Difference { state: State::Different, lines }
}

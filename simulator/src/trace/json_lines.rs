//! The trace as JSON Lines: one event per line.

use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use crate::event::Event;

/// A line that is not an event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadLine {
    /// Its number, from 1.
    pub line: usize,
    /// What is wrong with it.
    pub reason: String,
}

impl fmt::Display for BadLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.reason)
    }
}

impl core::error::Error for BadLine {}

/// One line per event.
#[must_use]
pub fn write(events: &[Event]) -> String {
    let mut text = String::new();
    for event in events {
        // Events hold numbers and names only, which JSON can always say.
        if let Ok(line) = serde_json::to_string(event) {
            text.push_str(&line);
            text.push('\n');
        }
    }
    text
}

/// The events of a text; empty lines are left out.
///
/// # Errors
///
/// The first line that is not an event: also the last one of a trace that was cut off.
pub fn read(text: &str) -> Result<Vec<Event>, BadLine> {
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    lines
        .map(|(i, line)| serde_json::from_str(line).map_err(|error| BadLine { line: i + 1, reason: error.to_string() }))
        .collect()
}

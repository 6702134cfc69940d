//! What was observed, for people.

use serde_json::Value;

use crate::output::{Tone, paint, plain, wrapped};
use pagewise_observe::{Certainty, Observation, Property};

/// Entries of a list that are shown.
const MANY: usize = 8;
/// Characters of one entry that are shown.
const SHOWN: usize = 100;

/// One block per statement: name, value, how sure, where, why; then what was not seen, and remarks.
pub(super) fn text(seen: &Observation, board: Option<&str>) -> String {
    let mut text = String::new();
    for property in seen.properties.iter().filter(|property| property.sure.is_some()) {
        text += &statement(property);
    }
    let missing: Vec<&Property> = seen.properties.iter().filter(|property| property.sure.is_none()).collect();
    if !missing.is_empty() {
        text += &format!("{}\n", paint(Tone::Strong, "not seen"));
        for property in missing {
            text += &format!("{}\n", wrapped(&property.why, &format!("  {:<22} ", property.name), "    "));
        }
    }
    for remark in &seen.remarks {
        text += &format!("{}\n", wrapped(&plain(remark), &paint(Tone::Caution, "note "), "     "));
    }
    if let Some(board) = board {
        text += &format!("{}: board file; fill in what it asks for\n", plain(board));
    }
    text
}

fn statement(property: &Property) -> String {
    let (tone, word) = match property.sure {
        Some(Certainty::Shown) => (Tone::Good, "shown "),
        Some(Certainty::Likely) => (Tone::Caution, "likely"),
        _ => (Tone::Caution, "guess "),
    };
    let head = format!("{} {} ", paint(tone, word), paint(Tone::Strong, format!("{:<22}", property.name)));
    let mut text = format!("{}\n", wrapped(&plain(&value(&property.value)), &head, "       "));
    let at = property.seen_at.first().map(|at| format!(" ({} at {:.6} s)", at.file, at.seconds)).unwrap_or_default();
    let why = plain(&format!("{}{at}", property.why));
    text += &format!("{}\n", paint(Tone::Faint, wrapped(&why, "       ", "       ")));
    text
}

fn short(text: &str) -> String {
    if text.chars().count() <= SHOWN { text.to_owned() } else { text.chars().take(SHOWN).collect::<String>() + "..." }
}

/// A value in words: `at_least 3096.8, at_most 4136`.
fn value(value: &Value) -> String {
    match value {
        Value::String(text) => short(text),
        Value::Array(list) => {
            let shown: Vec<String> = list.iter().take(MANY).map(self::value).collect();
            let more = list.len().saturating_sub(MANY);
            let rest = if more > 0 { format!("; and {more} more (--json tells all)") } else { String::new() };
            shown.join("; ") + &rest
        }
        Value::Object(map) => {
            let fields = map.iter().filter(|(_, field)| !field.is_null());
            fields.map(|(name, field)| format!("{name} {}", self::value(field))).collect::<Vec<_>>().join(", ")
        }
        other => other.to_string(),
    }
}

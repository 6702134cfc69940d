//! A board whose firmware is known from recordings: what was observed stands in place of what the board file says.

use std::fs;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::Serialize;
use toml::{Table, Value};

use crate::command::channels::OfRecording;
use crate::output::{Tone, paint, plain, wrapped};
use pagewise_base::fault::{Fault, Faults};
use pagewise_judge::board::{self, Board};
use pagewise_observe::{Certainty, Firmware, Input, Observation, Program, firmware, observe};
use pagewise_part::card::Card;
use pagewise_part::fact::{Basis, Fact};

/// What recordings showed of a board's firmware.
#[derive(Debug, JsonSchema, Serialize)]
pub(in crate::command) struct Recorded {
    /// The recordings.
    files: Vec<String>,
    /// Values that were observed, in place of those of the board file.
    observed: Vec<Firmware>,
    /// Where the board file, or what is published of the fitted part, says otherwise.
    contradicts: Vec<String>,
    /// Page of the part as the recordings show it, and where.
    #[serde(skip)]
    page: Option<(u32, String)>,
}

impl Recorded {
    /// The fitted part with what the recordings show of its structure: that stands in place of an assumption, never of a
    /// published value.
    pub(in crate::command) fn fitted(&mut self, card: &Card) -> Card {
        let mut card = card.clone();
        let Some((page, source)) = self.page.clone() else { return card };
        let basis = Basis::Observed { source: source.as_str().into() };
        match &card.page_bytes.basis {
            Basis::Assumed { .. } | Basis::Generic { .. } => card.page_bytes = Fact { value: page, basis },
            known if card.page_bytes.value != page => self.contradicts.push(format!(
                "page of {}: {} bytes is {}, the recording shows {page} ({source})",
                card.name,
                card.page_bytes.value,
                known.parts().0
            )),
            _ => {}
        }
        card
    }
}

/// The page of the part, where a recording shows it beyond doubt.
fn page(observation: &Observation) -> Option<(u32, String)> {
    let property = observation.property("part_page_bytes");
    let value = property.value.as_u64().filter(|_| property.sure == Some(Certainty::Shown))?;
    let at = property.seen_at.first().map_or_else(String::new, |at| format!("{}, {:.6} s", at.file, at.seconds));
    Some((u32::try_from(value).ok()?, at))
}

/// Fields whose observed value is only the least that was seen: a smaller one in the board file is no contradiction.
const LEAST: [&str; 2] = ["wait_ms", "first_access_us"];

/// Reads a board and the program of its recordings.
pub(in crate::command) fn read(
    path: &Path,
    recordings: &[PathBuf],
    channels: &OfRecording,
) -> Result<(Board, Program, Recorded), Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    let inputs: Vec<Input> = recordings.iter().map(|path| channels.input(path)).collect();
    let observation = observe(&inputs, &mut |_, _| {})?;
    let program = Program::read(&inputs)?;
    let observed = firmware(&observation);
    let mut contradicts = Vec::new();
    let table: Option<Table> = text.parse().ok().filter(|table: &Table| table.contains_key("firmware"));
    let board = match table {
        // What is wrong in the file is told with the lines of the file.
        Some(table) => {
            board::parse(&file, &text)?;
            let text = replaced(table, &observed, &mut contradicts);
            board::parse(&file, &text)?
        }
        None => {
            let lines: String = observed.iter().map(|it| format!("{} = {}\n", it.field, it.value)).collect();
            board::parse(&file, &format!("{text}\n[firmware]\n{lines}")).map_err(|faults| missing(faults, &observed))?
        }
    };
    let files = recordings.iter().map(|path| path.display().to_string()).collect();
    Ok((board, program, Recorded { files, observed, contradicts, page: page(&observation) }))
}

/// The board's text with what was observed.
fn replaced(mut table: Table, observed: &[Firmware], contradicts: &mut Vec<String>) -> String {
    // What a recording shows is stated from here on.
    if let Some(Value::Array(unstated)) = table.get_mut("unstated") {
        let shown = |path: &str| observed.iter().any(|it| path == format!("firmware.{}", it.field));
        unstated.retain(|path| !path.as_str().is_some_and(shown));
    }
    let Some(Value::Table(stated)) = table.get_mut("firmware") else { return table.to_string() };
    let number = |value: &Value| value.as_float().or(value.as_integer().map(|whole| whole as f64));
    for it in observed {
        let Ok(Some(value)) = format!("x = {}", it.value).parse::<Table>().map(|mut table| table.remove("x")) else {
            continue;
        };
        match stated.get(&it.field) {
            Some(before) if *before == value => continue,
            Some(before) if LEAST.contains(&it.field.as_str()) && number(before) <= number(&value) => continue,
            Some(before) => contradicts.push(format!(
                "firmware.{}: the board file says {before}, the recording shows {value} ({})",
                it.field, it.because
            )),
            None => {}
        }
        // A delay is not the limit of polling, nor the other way round.
        if it.field == "wait" && stated.get("wait").is_some_and(|before| *before != value) {
            stated.remove("wait_ms");
        }
        stated.insert(it.field.clone(), value);
    }
    table.to_string()
}

/// What neither the board file nor the recording says, told as such.
fn missing(mut faults: Faults, observed: &[Firmware]) -> Faults {
    for fault in &mut faults.0 {
        if fault.field.starts_with("firmware") && !observed.iter().any(|it| fault.field.ends_with(&it.field)) {
            fault.reason += " (and no recording shows it)";
            // It stands in no line of the file.
            fault.line = 0;
        }
    }
    faults
}

/// What was observed, for a person.
pub(super) fn text(recorded: &Recorded) -> String {
    let values: Vec<String> = recorded.observed.iter().map(|it| format!("{} = {}", it.field, it.value)).collect();
    let files = recorded.files.join(", ");
    let line = format!("From {}: {}.", plain(&files), plain(&values.join(", ")));
    let mut out = format!("{}\n", wrapped(&line, "", "  "));
    for contradiction in &recorded.contradicts {
        out += &format!("{}\n", wrapped(&paint(Tone::Serious, plain(contradiction)), "  ", "    "));
    }
    out + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn observed(values: &[(&str, &str)]) -> Vec<Firmware> {
        let one = |(field, value): &(&str, &str)| Firmware {
            field: (*field).to_owned(),
            value: (*value).to_owned(),
            because: "shown: x".to_owned(),
        };
        values.iter().map(one).collect()
    }

    #[test]
    fn what_was_observed_stands_in_place_of_what_was_stated_and_contradictions_are_told() {
        let table: Table =
            "[firmware]\npage_bytes = 64\nwait = \"fixed\"\nwait_ms = 5\nword_address_bytes = 2".parse().unwrap();
        let mut told = Vec::new();
        let seen = observed(&[("page_bytes", "32"), ("wait", "\"poll\""), ("word_address_bytes", "2")]);
        let text: Table = replaced(table, &seen, &mut told).parse().unwrap();
        let firmware = text["firmware"].as_table().unwrap();
        assert_eq!((firmware["page_bytes"].as_integer(), firmware["wait"].as_str()), (Some(32), Some("poll")));
        assert!(!firmware.contains_key("wait_ms"));
        assert!(told.len() == 2 && told[0].contains("says 64, the recording shows 32"), "{told:?}");
    }

    #[test]
    fn what_a_recording_shows_of_the_part_replaces_assumptions_and_never_what_is_published() {
        let catalogue = pagewise_part::card::Catalogue::embedded().unwrap();
        let published = catalogue.find("24lc256").unwrap();
        let page = Some((32, "bus.vcd, 0.1 s".to_owned()));
        let seen = || Recorded { files: Vec::new(), observed: Vec::new(), contradicts: Vec::new(), page: page.clone() };
        let mut told = seen();
        assert_eq!(told.fitted(published).page_bytes, published.page_bytes);
        assert!(
            told.contradicts[0].contains("64 bytes is published, the recording shows 32"),
            "{:?}",
            told.contradicts
        );
        let mut assumed = published.clone();
        assumed.page_bytes = Fact { value: 8, basis: Basis::Assumed { why: "the smallest met".into() } };
        let mut told = seen();
        let card = told.fitted(&assumed);
        assert_eq!((card.page_bytes.value, card.page_bytes.basis.parts()), (32, ("observed", "bus.vcd, 0.1 s")));
        assert!(told.contradicts.is_empty());
    }

    #[test]
    fn a_shorter_wait_than_the_shortest_seen_is_no_contradiction() {
        for (stated, shown, contradictions) in [("5", "6.0", 0), ("5", "4.5", 1)] {
            let table: Table = format!("[firmware]\nwait = \"fixed\"\nwait_ms = {stated}").parse().unwrap();
            let mut told = Vec::new();
            let text = replaced(table, &observed(&[("wait", "\"fixed\""), ("wait_ms", shown)]), &mut told);
            assert_eq!(told.len(), contradictions, "{stated} {shown}");
            let kept = if contradictions == 0 { stated } else { shown };
            assert!(text.contains(&format!("wait_ms = {kept}")), "{text}");
        }
    }
}

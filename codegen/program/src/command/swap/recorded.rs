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
use pagewise_part::card::{Card, Pointer};
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
    /// What the recordings show of the part's structure.
    #[serde(skip)]
    part: Structure,
}

/// What recordings show of a part beyond doubt, each value with where.
#[derive(Debug, Clone, Default)]
struct Structure {
    page_bytes: Option<Fact<u32>>,
    word_address_bytes: Option<Fact<u8>>,
    read_wrap_bytes: Option<Fact<u32>>,
    pointer_after_write: Option<Fact<Pointer>>,
}

impl Structure {
    fn of(observation: &Observation) -> Self {
        let shown = |name: &str| {
            let property = observation.property(name);
            let at =
                property.seen_at.first().map_or_else(String::new, |at| format!("{}, {:.6} s", at.file, at.seconds));
            let shown = property.sure == Some(Certainty::Shown);
            shown.then(|| (&property.value, Basis::Observed { source: at.into() }))
        };
        let number = |name: &str| {
            let (value, basis) = shown(name)?;
            Some(Fact { value: u32::try_from(value.as_u64()?).ok()?, basis })
        };
        let width = number("word_address_bytes");
        let word_address_bytes = width.map(|width| width.map(|bytes| *bytes as u8));
        // A read that comes back to where its word address began wraps at what the word address reaches.
        let wraps = shown("read_across_block").filter(|(value, _)| value.as_str() == Some("wraps"));
        let read_wrap_bytes = wraps.zip(word_address_bytes.as_ref()).and_then(|((_, basis), width)| {
            let value = 1_u32.checked_shl(8 * u32::from(width.value))?;
            Some(Fact { value, basis })
        });
        let pointer_after_write = shown("pointer_after_write").and_then(|(value, basis)| {
            let value = serde_json::from_value(value.clone()).ok()?;
            Some(Fact { value, basis })
        });
        Self { page_bytes: number("part_page_bytes"), word_address_bytes, read_wrap_bytes, pointer_after_write }
    }
}

/// Puts what was observed in the place of what nobody stated; where somebody stated otherwise, says so.
fn put<T: Copy + PartialEq + Serialize>(
    known: &mut Fact<T>,
    seen: Option<&Fact<T>>,
    what: &str,
    contradicts: &mut Vec<String>,
) {
    // Numbers as they are, choices by their words.
    let text = |value: &T| serde_json::to_string(value).unwrap_or_default().trim_matches('"').to_owned();
    let Some(seen) = seen else { return };
    match &known.basis {
        Basis::Assumed { .. } | Basis::Generic { .. } => *known = seen.clone(),
        basis if known.value != seen.value => contradicts.push(format!(
            "{what}: {} is {}, the recording shows {} ({})",
            text(&known.value),
            basis.parts().0,
            text(&seen.value),
            seen.basis.parts().1
        )),
        _ => {}
    }
}

impl Recorded {
    /// The fitted part with what the recordings show of its structure: that stands in place of an assumption, never of a
    /// published value.
    pub(in crate::command) fn fitted(&mut self, card: &Card) -> Card {
        let mut card = card.clone();
        let (seen, told) = (&self.part, &mut self.contradicts);
        let of = |what: &str| format!("{what} of {}", card.name);
        let (page, width, wrap) = (of("page in bytes"), of("word-address bytes"), of("bytes until a read wraps"));
        put(&mut card.page_bytes, seen.page_bytes.as_ref(), &page, told);
        put(&mut card.word_address_bytes, seen.word_address_bytes.as_ref(), &width, told);
        put(&mut card.read_wrap_bytes, seen.read_wrap_bytes.as_ref(), &wrap, told);
        let pointer = of("pointer after a write");
        put(&mut card.pointer_after_write, seen.pointer_after_write.as_ref(), &pointer, told);
        card
    }

    /// Says where the recorded reads are otherwise than the fitted part's model has them.
    pub(in crate::command) fn check(&mut self, program: &Program, board: &Board, fitted: &Card) {
        self.contradicts.extend(program.contradicts(board, fitted));
    }
}

/// Fields whose observed value is only the least that was seen: a smaller one in the board file is no contradiction.
const LEAST: [&str; 2] = ["wait_ms", "first_access_us"];

/// What recordings of one bus show, whatever board it is of.
pub(super) struct Seen {
    files: Vec<String>,
    observed: Vec<Firmware>,
    part: Structure,
    pub(super) program: Program,
}

impl Seen {
    /// Reads recordings, in the order of time.
    pub(super) fn read(recordings: &[PathBuf], channels: &OfRecording) -> Result<Self, Faults> {
        let inputs: Vec<Input> = recordings.iter().map(|path| channels.input(path)).collect();
        let observation = observe(&inputs, &mut |_, _| {})?;
        Ok(Self {
            files: recordings.iter().map(|path| path.display().to_string()).collect(),
            observed: firmware(&observation),
            part: Structure::of(&observation),
            program: Program::read(&inputs)?,
        })
    }

    /// A board with what was observed in place of what its file says, and the text of that.
    pub(super) fn on(&self, file: &str, text: &str) -> Result<(Board, String, Recorded), Faults> {
        let mut contradicts = Vec::new();
        let table: Option<Table> = text.parse().ok().filter(|table: &Table| table.contains_key("firmware"));
        let (board, text) = match table {
            // What is wrong in the file is told with the lines of the file.
            Some(table) => {
                board::parse(file, text)?;
                let text = replaced(table, &self.observed, &mut contradicts);
                (board::parse(file, &text)?, text)
            }
            None => {
                let lines: String = self.observed.iter().map(|it| format!("{} = {}\n", it.field, it.value)).collect();
                let text = format!("{text}\n[firmware]\n{lines}");
                (board::parse(file, &text).map_err(|faults| missing(faults, &self.observed))?, text)
            }
        };
        let (files, observed, part) = (self.files.clone(), self.observed.clone(), self.part.clone());
        Ok((board, text, Recorded { files, observed, contradicts, part }))
    }
}

/// Reads a board and the program of its recordings.
pub(in crate::command) fn read(
    path: &Path,
    recordings: &[PathBuf],
    channels: &OfRecording,
) -> Result<(Board, Program, Recorded), Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    let seen = Seen::read(recordings, channels)?;
    let (board, _, recorded) = seen.on(&file, &text)?;
    Ok((board, seen.program, recorded))
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

/// What was observed, for a person; `board` where there are several.
pub(super) fn text(recorded: &Recorded, board: Option<&str>) -> String {
    let values: Vec<String> = recorded.observed.iter().map(|it| format!("{} = {}", it.field, it.value)).collect();
    let files = recorded.files.join(", ");
    let of = board.map_or_else(String::new, |board| format!("{}: ", plain(board)));
    let line = format!("{of}From {}: {}.", plain(&files), plain(&values.join(", ")));
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
        let mut published = catalogue.find("24lc256").unwrap().clone();
        // No sheet that was read states it for this part.
        let sheet = published.page_bytes.basis.clone();
        published.pointer_after_write = Fact { value: Pointer::WrappedInPage, basis: sheet };
        let shown = |value: u32| Some(Fact { value, basis: Basis::Observed { source: "bus.vcd, 0.1 s".into() } });
        let part = || Structure {
            page_bytes: shown(32),
            word_address_bytes: shown(1).map(|bytes| bytes.map(|bytes| *bytes as u8)),
            read_wrap_bytes: shown(256),
            pointer_after_write: shown(1).map(|it| it.map(|_| Pointer::LastPlusOne)),
        };
        let seen = || Recorded { files: Vec::new(), observed: Vec::new(), contradicts: Vec::new(), part: part() };
        let mut told = seen();
        assert_eq!(told.fitted(&published), published);
        let said = told.contradicts.join("\n");
        for contradiction in [
            "page in bytes of 24LC256: 64 is published, the recording shows 32",
            "word-address bytes",
            "read wraps",
            "pointer after a write of 24LC256: wrapped-in-page is published, the recording shows last-plus-one",
        ] {
            assert!(said.contains(contradiction), "{said}");
        }
        let mut assumed = published.clone();
        let nobody = Basis::Assumed { why: "nobody said".into() };
        assumed.page_bytes.basis = nobody.clone();
        assumed.word_address_bytes.basis = nobody.clone();
        assumed.read_wrap_bytes.basis = nobody.clone();
        (assumed.pointer_after_write.value, assumed.pointer_after_write.basis) = (Pointer::WrappedInPage, nobody);
        let mut told = seen();
        let card = told.fitted(&assumed);
        assert_eq!((card.page_bytes.value, card.page_bytes.basis.parts()), (32, ("observed", "bus.vcd, 0.1 s")));
        assert_eq!((card.word_address_bytes.value, card.read_wrap_bytes.value), (1, 256));
        assert_eq!(card.pointer_after_write.value, Pointer::LastPlusOne);
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

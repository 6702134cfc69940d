//! A board file from what was observed.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use crate::Observation;
use crate::property::{Certainty, Property};

/// A line of the file with its comments.
#[derive(Debug, Clone, Serialize)]
struct Entry {
    comments: Vec<String>,
    text: String,
}

#[derive(Debug, Clone, Serialize)]
struct Section {
    name: String,
    entries: Vec<Entry>,
}

#[derive(Debug, Clone, Serialize)]
struct Values {
    recordings: String,
    sections: Vec<Section>,
}

/// Comments are wrapped at this many characters.
const WIDTH: usize = 110;

fn wrapped(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        if !lines[last].is_empty() && lines[last].len() + word.len() >= WIDTH {
            lines.push(word.to_owned());
        } else {
            let space = if lines[last].is_empty() { "" } else { " " };
            lines[last].push_str(&format!("{space}{word}"));
        }
    }
    lines
}

fn ask(key: &str, example: &str, question: &str) -> Entry {
    Entry { comments: wrapped(&format!("fill in: {question}")), text: format!("# {key} = {example}") }
}

fn because(property: &Property) -> String {
    let sure = property.sure.map_or("not seen", Certainty::word);
    let at = property.seen_at.first().map(|at| format!(" ({}, {:.6} s)", at.file, at.seconds)).unwrap_or_default();
    format!("{sure}: {}{at}", property.why)
}

fn known(key: &str, value: impl std::fmt::Display, property: &Property) -> Entry {
    Entry { comments: wrapped(&because(property)), text: format!("{key} = {value}") }
}

/// The chip that the file is about: one by one they are listed, the first that answered comes first.
struct Chosen<'o> {
    observation: &'o Observation,
    address: String,
}

impl Chosen<'_> {
    /// The value for this chip: one for all, or one by device address.
    fn value(&self, name: &str) -> Option<(&Property, &Value)> {
        let property = self.observation.property(name);
        let value = match &property.value {
            Value::Null => return None,
            Value::Object(map) if map.keys().any(|key| key.starts_with("0x")) => map.get(&self.address)?,
            value => value,
        };
        Some((property, value))
    }

    fn number(&self, name: &str) -> Option<(&Property, u64)> {
        self.value(name).and_then(|(property, value)| Some((property, value.as_u64()?)))
    }

    /// A number as it is known, or a question for it.
    fn or_ask(&self, key: &str, name: &str, example: &str, question: &str) -> Entry {
        self.number(name).map_or_else(|| ask(key, example, question), |(property, value)| known(key, value, property))
    }

    fn bus(&self) -> Vec<Entry> {
        let scl = self.observation.property("scl_khz");
        let khz = scl.value.as_f64().map_or(0, |khz| khz.round() as u64);
        let others: Vec<&str> = addresses(self.observation).into_iter().filter(|other| !self.own(other)).collect();
        vec![
            ask("supply_v", "3.3", "supply of the part in volts"),
            if khz > 0 { known("scl_khz", khz, scl) } else { ask("scl_khz", "400", "SCL rate") },
            ask("pull_up_ohm", "4700", "pull-up resistor on each line"),
            ask("capacitance_pf", "100", "capacitance of each line"),
            known("other_addresses", format!("[{}]", others.join(", ")), self.observation.property("device_addresses")),
        ]
    }

    /// Whether an address belongs to this chip: its own, or one of its blocks.
    fn own(&self, other: &str) -> bool {
        let bits = self.number("block_select_bits").map_or(0, |(_, bits)| bits as u32);
        let number = |text: &str| u8::from_str_radix(text.trim_start_matches("0x"), 16).unwrap_or(0);
        other == self.address || (bits > 0 && number(other) >> bits == number(&self.address) >> bits)
    }

    fn firmware(&self) -> Vec<Entry> {
        let mut entries = vec![
            known("device_address", &self.address, self.observation.property("device_addresses")),
            self.or_ask("word_address_bytes", "word_address_bytes", "1", "word-address bytes that it sends"),
        ];
        let question = "page at whose ends it cuts writes; 1 for byte writes, the largest region for none";
        entries.push(self.or_ask("page_bytes", "page_bytes", "16", question));
        entries.extend(self.wait());
        let optional = [
            ("block_select_bits", "block_select_bits"),
            ("max_transfer_bytes", "transfer_limit_bytes"),
            ("read_cut_bytes", "read_cut_bytes"),
        ];
        for (key, name) in optional {
            let sure = |property: &Property| property.sure.is_some_and(|sure| sure > Certainty::Guess);
            let found = self.number(name).filter(|(property, value)| sure(property) && *value > 0);
            entries.extend(found.map(|(property, value)| known(key, value, property)));
        }
        if let Some((property, Value::String(shape))) = self.value("write_shape") {
            entries.push(known("write_shape", format!("\"{shape}\""), property));
        }
        let first = self.observation.property("first_access_us");
        entries.extend(first.value.as_f64().map(|us| known("first_access_us", us.floor() as u64, first)));
        entries
    }

    fn wait(&self) -> Vec<Entry> {
        let Some((property, value)) = self.value("wait") else {
            return vec![
                ask("wait", "\"poll\"", "how it waits for the write cycle: poll, poll-by-read or fixed"),
                ask("wait_ms", "10", "the delay, or the limit of polling, in milliseconds"),
            ];
        };
        let kind = value["kind"].as_str().unwrap_or("poll");
        let wait = known("wait", format!("\"{kind}\""), property);
        let ms = value["shortest_us"].as_f64().map(|us| format!("{:.3}", us / 1000.0));
        let limit = match (kind, ms) {
            ("fixed", Some(ms)) => {
                Entry { comments: wrapped("the shortest that was seen"), text: format!("wait_ms = {ms}") }
            }
            _ => ask("wait_ms", "10", "when polling gives up, in milliseconds; without it, after a second"),
        };
        vec![wait, limit]
    }

    /// Ranges that were written or read, as regions.
    fn regions(&self) -> Vec<Section> {
        let mut ranges: Vec<(u64, u64, &Property)> = Vec::new();
        for name in ["regions_written", "regions_read"] {
            let property = self.observation.property(name);
            for range in property.value.as_array().into_iter().flatten() {
                let (Some(offset), Some(length)) = (range["offset"].as_u64(), range["length"].as_u64()) else {
                    continue;
                };
                let covered = ranges.iter().any(|(from, len, _)| offset < from + len && *from < offset + length);
                if range["device"] == Value::String(self.address.clone()) && !covered {
                    ranges.push((offset, length, property));
                }
            }
        }
        ranges.truncate(64);
        ranges.sort_by_key(|(offset, ..)| *offset);
        let section = |(number, (offset, length, property)): (usize, (u64, u64, &Property))| Section {
            name: "[[region]]".to_owned(),
            entries: vec![
                Entry { comments: Vec::new(), text: format!("name = \"region {}\"", number + 1) },
                known("offset", format!("{offset:#06x}"), property),
                Entry { comments: Vec::new(), text: format!("length = {length}") },
                ask("writes_per_day", "1", "writes of the whole region per day"),
            ],
        };
        ranges.into_iter().enumerate().map(section).collect()
    }
}

fn addresses(observation: &Observation) -> Vec<&str> {
    let list = observation.property("device_addresses").value.as_array();
    list.into_iter().flatten().filter_map(Value::as_str).collect()
}

/// A value of a board file's firmware that was observed.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Firmware {
    /// Its field under `[firmware]`.
    pub field: String,
    /// Its value as TOML.
    pub value: String,
    /// How sure that is, why, and where it shows.
    pub because: String,
}

/// What was observed of the firmware, as far as it is more than a guess, for the first memory device on the bus.
#[must_use]
pub fn firmware(observation: &Observation) -> Vec<Firmware> {
    let chosen = Chosen { observation, address: first_memory(observation) };
    let told = chosen.firmware().into_iter().filter_map(|entry| {
        let (field, value) = entry.text.split_once(" = ").filter(|(field, _)| !field.starts_with('#'))?;
        Some(Firmware { field: field.to_owned(), value: value.to_owned(), because: entry.comments.join(" ") })
    });
    told.filter(|value| !value.because.starts_with(Certainty::Guess.word())).collect()
}

fn first_memory(observation: &Observation) -> String {
    let all = addresses(observation);
    let memory = all.iter().find(|address| address.starts_with("0x5") && **address <= "0x57");
    memory.or(all.first()).map_or_else(|| "0x50".to_owned(), |address| (*address).to_owned())
}

/// The text of a board file: what was observed as values with their reasons as comments, and a question for each thing
/// that no recording shows. It is about the first memory device on the bus; others are listed as other addresses.
///
/// # Errors
/// Never; a recording without any device that answered gives a file of questions.
#[must_use]
pub fn board_file(observation: &Observation) -> String {
    let chosen = Chosen { observation, address: first_memory(observation) };
    let strap = |pin: &str| ask(pin, "\"gnd\"", "what the pin is tied to: gnd, vcc, gpio or open");
    let mut sections = vec![
        Section {
            name: String::new(),
            entries: vec![
                ask("name", "\"board\"", "name of the board"),
                ask("fitted", "\"24LC64\"", "part that is fitted: identifier or order code of a card"),
                ask("footprint", "\"soic-8\"", "its footprint"),
                ask("years_of_life", "10", "years that the board must last"),
            ],
        },
        Section { name: "[bus]".to_owned(), entries: chosen.bus() },
        Section { name: "[straps]".to_owned(), entries: ["a0", "a1", "a2", "wp"].map(strap).to_vec() },
        Section { name: "[firmware]".to_owned(), entries: chosen.firmware() },
    ];
    let regions = chosen.regions();
    if regions.is_empty() {
        sections.push(Section {
            name: "# [[region]]".to_owned(),
            entries: vec![ask("offset", "0", "what is kept where: name, offset, length, writes_per_day")],
        });
    }
    sections.extend(regions);
    for entry in sections.iter_mut().flat_map(|section| &mut section.entries) {
        for line in &mut entry.comments {
            *line = pagewise_templates::source::harmless(line);
        }
    }
    let recordings = pagewise_templates::source::harmless(&observation.files.join(", "));
    pagewise_templates::render("board_observed.toml.tera", &Values { recordings, sections })
}

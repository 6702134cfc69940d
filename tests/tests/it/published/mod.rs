//! Cards and published entries as plain TOML, and what both checks need. Nothing here knows the program's card loader.

pub mod numbers;
mod regions;
pub mod words;

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use toml::{Table, Value};

/// One card beside the entry of the data sheet that stands behind it.
#[derive(Clone)]
pub struct Pair {
    pub card: Table,
    pub entry: Table,
    /// What was read of packages, order codes and temperatures.
    pub ordering: Table,
}

fn path(relative: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(relative)
}

pub fn data(name: &str) -> Table {
    let text = fs::read_to_string(path("data").join(name)).expect("test data is part of the crate");
    text.parse().unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Every card file by its stem.
pub fn cards() -> BTreeMap<String, Table> {
    let mut cards = BTreeMap::new();
    for file in fs::read_dir(path("../codegen/parts")).expect("cards are part of the repository") {
        let file = file.expect("directory is readable").path();
        if file.extension().is_some_and(|extension| extension == "toml") {
            let stem = file.file_stem().expect("a file has a stem").to_string_lossy().into_owned();
            let text = fs::read_to_string(&file).expect("card is readable");
            cards.insert(stem.clone(), text.parse().unwrap_or_else(|error| panic!("{stem}: {error}")));
        }
    }
    cards
}

/// What was read of further parts, packages and order codes in the same entry.
const MORE: &str = "more-parts.toml";

/// Every published entry by its identifier.
pub fn entries() -> BTreeMap<String, Table> {
    let mut entries = entries_of("datasheets.toml");
    for (id, entry) in entries_of(MORE) {
        assert!(entries.insert(id.clone(), entry).is_none(), "{id} stands in two files");
    }
    entries
}

fn entries_of(file: &str) -> BTreeMap<String, Table> {
    let data = data(file);
    let parts = data["part"].as_array().expect("entries").iter();
    parts
        .map(|part| part.as_table().expect("an entry is a table"))
        .map(|part| (text(part, "id"), part.clone()))
        .collect()
}

/// Every card with its entry.
pub fn pairs() -> Vec<Pair> {
    let (entries, mut orderings, map) = (entries(), entries_of("packages.toml"), data("cards.toml"));
    orderings.extend(entries_of(MORE));
    let map = map["cards"].as_table().expect("map of cards");
    cards()
        .into_iter()
        .map(|(id, card)| {
            let entry =
                map.get(&id).and_then(Value::as_str).unwrap_or_else(|| panic!("{id} is not in data/cards.toml"));
            let ordering = orderings.get(entry).cloned().unwrap_or_default();
            let entry = entries.get(entry).unwrap_or_else(|| panic!("{entry} is not in data/datasheets.toml")).clone();
            Pair { card, entry, ordering }
        })
        .collect()
}

/// A field as text: the string itself, the items of a list joined, nothing if absent.
pub fn text(table: &Table, key: &str) -> String {
    match table.get(key) {
        Some(Value::String(text)) => text.clone(),
        Some(Value::Array(items)) => items.iter().filter_map(Value::as_str).collect::<Vec<_>>().join("; "),
        _ => String::new(),
    }
}

pub fn number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|value| value as f64))
}

pub fn tables(table: &Table, key: &str) -> Vec<Table> {
    let list = table.get(key).and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
    list.iter().filter_map(|item| item.as_table().cloned()).collect()
}

impl Pair {
    pub fn id(&self) -> String {
        text(&self.card, "id")
    }

    /// A card value by its field path, such as `supply.min_v`.
    pub fn stated(&self, field: &str) -> Option<&Value> {
        match field.split_once('.') {
            Some((table, key)) => self.card.get(table)?.as_table()?.get(key),
            None => self.card.get(field),
        }
    }

    pub fn stated_number(&self, field: &str) -> Option<f64> {
        self.stated(field).and_then(number)
    }

    pub fn stated_text(&self, field: &str) -> Option<&str> {
        self.stated(field).and_then(Value::as_str)
    }

    pub fn is_derived(&self, field: &str) -> bool {
        let derived = self.card.get("derived").and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
        derived.iter().any(|name| name.as_str() == Some(field))
    }

    pub fn published(&self, key: &str) -> Option<f64> {
        self.entry.get(key).and_then(number)
    }

    pub fn published_text(&self, key: &str) -> String {
        text(&self.entry, key)
    }

    /// What the entry says in words about the sheet and its siblings; `from_memory` is left out on purpose.
    pub fn remarks(&self) -> String {
        let fields = ["notes", "covers", "document", "members", "vcc_note", "write_cycle_note", "write_protect"];
        let fields = fields.iter().chain(&["small_package_note", "chip_enable_pins", "special_regions"]);
        fields.map(|field| self.published_text(field)).collect::<Vec<_>>().join(" | ")
    }

    /// Whether the card is of the density that the entry's fields are given for.
    pub fn is_same_density(&self) -> bool {
        self.stated_number("capacity_bits") == self.published("capacity_bits")
    }

    /// Whether the card is of a sibling that has a document of its own.
    pub fn is_sibling(&self) -> bool {
        text(&self.card, "document") != self.published_text("document")
    }

    /// Roles of the seven device-address bits, bit 6 first, where the card states them all.
    pub fn device_bits(&self) -> Option<Vec<&str>> {
        let code = self.stated_text("device_code")?;
        Some(code.split_whitespace().chain(self.stated_text("address_bits")?.split_whitespace()).collect())
    }
}

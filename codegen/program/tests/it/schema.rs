//! Reader and JSON Schema refuse the same shapes: every shipped file is valid, and of every mutation of a file that has
//! every field, both say the same. The schemas are read by a general validator.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use jsonschema::Validator;
use pagewise::schema::{FileKind, schema};
use pagewise_base::fault::{Fault, Faults};
use pagewise_content::layout;
use pagewise_judge::stock::columns;
use pagewise_judge::{board, decision};
use pagewise_part::card::{Catalogue, load};
use pagewise_teach::lesson;
use serde_json::{Value, json};

const FULL: [(FileKind, &str); 6] = [
    (FileKind::Card, include_str!("schema/card.toml")),
    (FileKind::Board, include_str!("schema/board.toml")),
    (FileKind::Layout, include_str!("schema/layout.toml")),
    (FileKind::Columns, include_str!("schema/columns.toml")),
    (FileKind::Lesson, include_str!("schema/lesson.toml")),
    (FileKind::Decision, include_str!("schema/decision.toml")),
];

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());

fn validator(kind: FileKind) -> Validator {
    let schema = schema(kind);
    assert!(jsonschema::meta::is_valid(schema), "{kind:?}: the schema itself is valid");
    jsonschema::validator_for(schema).unwrap()
}

fn json(text: &str) -> Value {
    let table: toml::Table = text.parse().unwrap();
    serde_json::to_value(table).unwrap()
}

fn faults(kind: FileKind, text: &str) -> Vec<Fault> {
    let result = match kind {
        FileKind::Card => load::card("x.toml", text).map(drop),
        FileKind::Board => board::parse("x.toml", text).map(drop),
        FileKind::Layout => layout::parse("x.toml", text).map(drop),
        FileKind::Columns => columns::parse("x.toml", text).map(drop),
        FileKind::Lesson => lesson::parse("x.toml", text, &CATALOGUE).map(drop),
        FileKind::Decision => decision::parse("x.toml", text).map(drop),
    };
    result.err().unwrap_or_else(|| Faults(Vec::new())).0
}

/// Whether a fault is one of shape. What depends on other fields (sums, powers of two, names used twice, limits by
/// capacity) no schema says.
fn of_shape(fault: &Fault) -> bool {
    let reasons = [
        "unknown field",
        "is missing",
        "is out of range",
        "is not known",
        "is empty",
        "is not an address-bit role",
        "address bits instead of",
        "is not an identifier",
        "is not a second region",
        "is not a name",
        "is not a kind",
        "a FRAM has no page",
        "names no region",
        "would be the same in every unit",
    ];
    let typed =
        fault.reason.starts_with("is a") && fault.reason.contains(", not ") || fault.reason.starts_with("is not");
    typed || reasons.iter().any(|reason| fault.reason.contains(reason))
}

/// Limits that follow the capacity.
fn by_capacity(path: &str) -> bool {
    ["page_bytes", "read_wrap_bytes"].contains(&path)
}

fn files(folder: &str) -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let Ok(entries) = fs::read_dir(&folder) else { return Vec::new() };
    let paths = entries.map(|entry| entry.unwrap().path());
    let tomls = paths.filter(|path| path.extension().is_some_and(|ending| ending == "toml"));
    tomls.map(|path| (path.display().to_string(), fs::read_to_string(&path).unwrap())).collect()
}

#[test]
fn every_shipped_file_is_valid() {
    let cards = files("../parts");
    let boards = files("../../examples/boards");
    let layouts = files("../../examples/layouts");
    let lessons = files("../teach/lessons");
    assert!(cards.len() > 150 && boards.len() > 10 && layouts.len() > 1 && lessons.len() > 20);
    let kinds = [FileKind::Card, FileKind::Board, FileKind::Layout, FileKind::Lesson];
    for (kind, files) in kinds.into_iter().zip([cards, boards, layouts, lessons]) {
        let validator = validator(kind);
        for (file, text) in files {
            let errors: Vec<String> = validator
                .iter_errors(&json(&text))
                .map(|error| format!("{}: {error}", error.instance_path()))
                .collect();
            assert!(errors.is_empty(), "{file}:\n{}", errors.join("\n"));
            let unknown = changed(&json(&text), &["surplus".to_owned()], Some(json!(1)));
            assert!(!validator.is_valid(&unknown), "{file}: with a field that is not known");
            let unnamed = changed(&json(&text), &["name".to_owned()], None);
            assert!(!validator.is_valid(&unnamed), "{file}: without its name");
        }
    }
}

/// A place in a document, by keys and indices.
type Place = Vec<String>;

fn places(value: &Value, at: &Place, into: &mut Vec<Place>) {
    let children: Vec<(String, &Value)> = match value {
        Value::Object(object) => object.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(items) => items.iter().enumerate().map(|(index, item)| (index.to_string(), item)).collect(),
        _ => Vec::new(),
    };
    for (key, child) in children {
        let place = [&at[..], &[key]].concat();
        places(child, &place, into);
        into.push(place);
    }
}

fn pointer(place: &[String]) -> String {
    place.iter().map(|key| format!("/{key}")).collect()
}

/// The document with another value at a place; `None` removes it.
fn changed(document: &Value, place: &[String], value: Option<Value>) -> Value {
    let mut document = document.clone();
    let (last, parents) = place.split_last().unwrap();
    let parent = document.pointer_mut(&pointer(parents)).unwrap();
    match (parent, value) {
        (Value::Object(object), Some(value)) => drop(object.insert(last.clone(), value)),
        (Value::Object(object), None) => drop(object.remove(last)),
        (Value::Array(items), Some(value)) => items[last.parse::<usize>().unwrap()] = value,
        (Value::Array(items), None) => drop(items.remove(last.parse::<usize>().unwrap())),
        _ => unreachable!("places lie in tables and lists"),
    }
    document
}

/// Reader and schema agree on a document.
fn agree(kind: FileKind, validator: &Validator, document: &Value, what: &str) {
    let text = toml::to_string(document).unwrap();
    let shape: Vec<Fault> = faults(kind, &text).into_iter().filter(of_shape).collect();
    let valid = validator.is_valid(document);
    assert_eq!(valid, shape.is_empty(), "{kind:?}, {what}: schema says valid = {valid}, reader says {shape:#?}");
}

#[test]
fn every_mutation_of_a_full_file_is_judged_alike() {
    let mut judged = 0;
    for (kind, text) in FULL {
        let (validator, document) = (validator(kind), json(text));
        assert_eq!(faults(kind, text), [], "{kind:?}: the full file has no fault");
        agree(kind, &validator, &document, "the full file");
        let mut all = Vec::new();
        places(&document, &Vec::new(), &mut all);
        for place in all {
            let path = place.join(".");
            let value = document.pointer(&pointer(&place)).unwrap();
            agree(kind, &validator, &changed(&document, &place, None), &format!("without {path}"));
            for other in [json!(true), json!("?"), json!(""), json!(5.5), json!([true]), json!({ "x": 1 })] {
                // A number where a number stands, and a text where a text stands, are judged below.
                let same = value.is_number() && other.is_number() || value.is_string() && other.is_string();
                if !same {
                    agree(
                        kind,
                        &validator,
                        &changed(&document, &place, Some(other.clone())),
                        &format!("{path} = {other}"),
                    );
                    judged += 1;
                }
            }
            let extremes: &[Value] = match value {
                Value::String(_) => &[json!(""), json!("  "), json!("?"), json!("no such word")],
                Value::Number(_) => &[json!(-1_000_000_000_000_000_000_i64), json!(1_000_000_000_000_000_000_i64)],
                _ => &[],
            };
            for extreme in extremes {
                // A value of a region has limits by its kind, which are no matter of shape.
                if !place.iter().any(|key| key == "value") {
                    agree(
                        kind,
                        &validator,
                        &changed(&document, &place, Some(extreme.clone())),
                        &format!("{path} = {extreme}"),
                    );
                    judged += 1;
                }
            }
            if value.is_object() {
                let inner = [&place[..], &["surplus".to_owned()]].concat();
                agree(kind, &validator, &changed(&document, &inner, Some(json!(1))), &format!("{path}.surplus"));
            }
        }
        agree(kind, &validator, &changed(&document, &["surplus".to_owned()], Some(json!(1))), "surplus");
    }
    assert!(judged > 800, "{judged}");
}

/// The numbers that the reader's remedy names: `use a value from LOW to HIGH`.
fn limits(faults: &[Fault]) -> Option<(f64, f64)> {
    let remedy = faults.iter().find_map(|fault| fault.remedy.strip_prefix("use a value from "))?;
    let (low, high) = remedy.split_once(" to ")?;
    Some((low.parse().ok()?, high.parse().ok()?))
}

fn number(number: f64) -> Value {
    if number.fract() == 0.0 { json!(number as i64) } else { json!(number) }
}

#[test]
fn every_limit_and_every_list_of_words_is_the_readers() {
    let (mut ranges, mut lists) = (0, 0);
    for (kind, text) in FULL {
        let (validator, document) = (validator(kind), json(text));
        let mut all = Vec::new();
        places(&document, &Vec::new(), &mut all);
        for place in all {
            let path = place.join(".");
            let value = document.pointer(&pointer(&place)).unwrap();
            let with = |value: Value| changed(&document, &place, Some(value));
            let valid = |value: Value| validator.is_valid(&with(value));
            let told = |value: Value| faults(kind, &toml::to_string(&with(value)).unwrap());
            if value.is_number() && !by_capacity(&path) {
                let Some((low, high)) = limits(&told(json!(1_000_000_000_000_000_000_i64))) else { continue };
                assert!(valid(number(low)) && valid(number(high)), "{kind:?}, {path}: {low} and {high} are allowed");
                let step = if low.fract() == 0.0 { 1.0 } else { low / 2.0 };
                assert!(!valid(number(low - step)), "{kind:?}, {path}: {low} is the lowest");
                assert!(!valid(number(high + 1.0)), "{kind:?}, {path}: {high} is the highest");
                ranges += 1;
            } else if value.is_string() {
                let faults = told(json!("no such word"));
                let Some(words) = faults.iter().find_map(|fault| fault.remedy.strip_prefix("use one of: ")) else {
                    continue;
                };
                let words: BTreeSet<&str> = words.split(", ").collect();
                for word in &words {
                    // Some words demand or forbid further fields; they are judged like the reader judges them.
                    agree(kind, &validator, &with(json!(word)), &format!("{path} = {word}"));
                }
                assert!(!valid(json!("no such word")), "{kind:?}, {path}");
                lists += 1;
            }
        }
    }
    assert!(ranges > 60 && lists > 25, "{ranges} ranges, {lists} lists");
}

/// The properties of every table of a schema that its full file does not show.
fn unshown(schema: &Value, document: &Value) -> BTreeSet<String> {
    fn collect(schema: &Value, into: &mut BTreeSet<String>) {
        match schema {
            Value::Object(object) => {
                if let Some(Value::Object(properties)) = object.get("properties") {
                    into.extend(properties.keys().cloned());
                }
                object.values().for_each(|value| collect(value, into));
            }
            Value::Array(items) => items.iter().for_each(|item| collect(item, into)),
            _ => {}
        }
    }
    let mut properties = BTreeSet::new();
    collect(schema, &mut properties);
    let mut all = Vec::new();
    places(document, &Vec::new(), &mut all);
    let shown: BTreeSet<String> = all.into_iter().flatten().collect();
    properties.difference(&shown).cloned().collect()
}

#[test]
fn the_full_files_show_every_field_of_the_schemas() {
    for (kind, text) in FULL {
        assert_eq!(unshown(schema(kind), &json(text)), BTreeSet::new(), "{kind:?}");
    }
}

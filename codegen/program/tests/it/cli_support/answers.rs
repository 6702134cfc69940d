//! Holds what the program prints with `--json` against the schema that it writes for the command.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, LazyLock, Mutex};

use jsonschema::Validator;
use serde_json::{Value, json};

/// Longer answers are of the same types as shorter ones, and take long to look at.
const MOST_BYTES: usize = 200_000;

static VALIDATORS: LazyLock<Mutex<BTreeMap<String, Arc<Validator>>>> = LazyLock::new(Mutex::default);

/// The schema of a command's answer, in which a field that it does not name is a fault.
pub fn strict(command: &str) -> Value {
    let mut schema = pagewise::schema::answer(command).unwrap_or_else(|| panic!("{command} has no schema"));
    assert!(jsonschema::meta::is_valid(&schema), "{command}: the schema itself is valid");
    let mut parts = BTreeSet::new();
    extended(&schema, &mut parts);
    for (name, definition) in schema["$defs"].as_object_mut().unwrap() {
        let object = definition.as_object_mut().unwrap();
        // What is a part of a larger object does not know all of its fields.
        if !parts.contains(name) && object.contains_key("properties") && !object.contains_key("additionalProperties") {
            object.insert("unevaluatedProperties".to_owned(), json!(false));
        }
    }
    schema
}

/// Names of the definitions that an object with fields of its own takes in.
fn extended(schema: &Value, into: &mut BTreeSet<String>) {
    match schema {
        Value::Object(object) => {
            let target = object.get("$ref").and_then(Value::as_str).filter(|_| object.contains_key("properties"));
            into.extend(target.map(|target| target.trim_start_matches("#/$defs/").to_owned()));
            object.values().for_each(|value| extended(value, into));
        }
        Value::Array(items) => items.iter().for_each(|item| extended(item, into)),
        _ => {}
    }
}

fn validator(command: &str) -> Arc<Validator> {
    let mut known = VALIDATORS.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let make = || Arc::new(jsonschema::validator_for(&strict(command)).unwrap());
    Arc::clone(known.entry(command.to_owned()).or_insert_with(make))
}

/// Asserts that an answer is as its schema says.
pub fn hold(text: &str, answer: &Value) {
    if text.len() > MOST_BYTES {
        return;
    }
    let command = answer["command"].as_str().unwrap_or_else(|| panic!("no command: {text}"));
    // What programs played step by step print has no schema yet.
    let played = command == "hazards" && answer.get("run").is_some();
    if played || pagewise::schema::answer(command).is_none() {
        return;
    }
    let faults: Vec<String> = validator(command)
        .iter_errors(answer)
        .map(|error| format!("{}: {error}", error.instance_path()).chars().take(400).collect())
        .collect();
    assert!(faults.is_empty(), "the answer of {command} is not as its schema says:\n{}", faults.join("\n"));
}

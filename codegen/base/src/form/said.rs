//! What a JSON Schema says of one field, keyword by keyword.

use std::collections::BTreeSet;

use serde_json::{Map, Value, json};
use toml::de::DeValue;

use crate::words;

/// What is said of one field: its own words and those of its type.
pub(super) type Said<'s> = Vec<&'s Map<String, Value>>;

/// The first thing said under a keyword.
pub(super) fn find<'s>(said: &Said<'s>, keyword: &str) -> Option<&'s Value> {
    said.iter().find_map(|said| said.get(keyword))
}

pub(super) fn property<'s>(said: &Said<'s>, key: &str) -> Option<&'s Value> {
    said.iter().find_map(|said| said.get("properties")?.get(key))
}

pub(super) fn required<'s>(said: &Said<'s>) -> Vec<&'s str> {
    let lists = said.iter().filter_map(|said| said.get("required")?.as_array());
    lists.flatten().filter_map(Value::as_str).collect()
}

pub(super) fn kind_of<'s>(said: &Said<'s>) -> &'s str {
    // A table of several kinds has them in its branches.
    let has_fields = |said: &&Map<String, Value>| {
        let branch = said.get("oneOf").and_then(|branches| branches.get(0));
        said.contains_key("properties") || branch.is_some_and(|branch| branch.get("properties").is_some())
    };
    let object = || said.iter().any(has_fields).then_some("object");
    find(said, "type").and_then(Value::as_str).or_else(object).unwrap_or_default()
}

/// The words of a choice; empty for what is none.
pub(super) fn choices(said: &[&Map<String, Value>]) -> Vec<String> {
    let mut words = Vec::new();
    let text = |value: &Value| value.as_str().map(str::to_owned);
    for said in said {
        words.extend(said.get("enum").and_then(Value::as_array).into_iter().flatten().filter_map(text));
        for branch in said.get("oneOf").and_then(Value::as_array).into_iter().flatten() {
            words.extend(branch.get("const").and_then(text));
            words.extend(branch.get("enum").and_then(Value::as_array).into_iter().flatten().filter_map(text));
        }
    }
    words
}

/// The word that a text stands for: itself, or where a choice has further spellings, the word that it is one of; then
/// capitals, hyphens and blanks do not count.
pub(super) fn spelled(text: &str, words: &[String], said: &[&Map<String, Value>]) -> Option<String> {
    if words.iter().any(|word| word == text) {
        return Some(text.to_owned());
    }
    let further = said.iter().find_map(|said| said.get("x-spellings"))?;
    let plain = |text: &str| text.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect::<String>();
    let wanted = plain(text);
    let same = words.iter().find(|word| plain(word) == wanted).cloned();
    further.get(&wanted).and_then(Value::as_str).map(str::to_owned).or(same)
}

/// Whether a value is of the type that is said.
pub(super) fn fits(value: &DeValue<'_>, said: &Said<'_>) -> bool {
    match (kind_of(said), value) {
        ("integer" | "number", DeValue::Integer(_))
        | ("number", DeValue::Float(_))
        | ("boolean", DeValue::Boolean(_))
        | ("object", DeValue::Table(_)) => true,
        ("array", DeValue::Array(items)) => {
            let Some(Value::Object(inner)) = find(said, "items") else { return true };
            items.iter().all(|item| fits(item.get_ref(), &vec![inner]))
        }
        ("string", DeValue::String(_)) => true,
        (_, DeValue::String(_)) => !choices(said).is_empty(),
        _ => false,
    }
}

/// What may stand there, in words.
pub(super) fn takes<'s>(said: &Said<'s>, resolve: &impl Fn(&'s Value) -> Said<'s>) -> String {
    if let Some(Value::Array(choices)) = find(said, "anyOf") {
        let all: Vec<String> = choices.iter().map(|choice| takes(&resolve(choice), resolve)).collect();
        return match all.split_last() {
            Some((last, [])) => last.clone(),
            Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
            None => String::new(),
        };
    }
    let plural = |said: &Said<'s>| match kind_of(said) {
        "integer" => "whole numbers",
        "number" => "numbers",
        "object" => "tables",
        _ => "texts",
    };
    match kind_of(said) {
        "integer" => "a whole number".to_owned(),
        "number" => "a number".to_owned(),
        "boolean" => "true or false".to_owned(),
        "object" => "a table".to_owned(),
        "array" => {
            let inner = find(said, "items").map(resolve).unwrap_or_default();
            format!("a list of {}", plural(&inner))
        }
        _ => "a text in quotes".to_owned(),
    }
}

/// The words or limits behind what may stand there.
pub(super) fn limits(said: &Said<'_>) -> String {
    let words = choices(said);
    match (find(said, "minimum"), find(said, "maximum")) {
        _ if !words.is_empty() => format!(": {}", words.join(", ")),
        (Some(low), Some(high)) => format!(" from {low} to {high}"),
        _ => String::new(),
    }
}

/// The known names that a wrong one resembles most.
pub(super) fn near(key: &str, said: &Said<'_>) -> String {
    let properties = said.iter().filter_map(|said| said.get("properties")?.as_object());
    let known: BTreeSet<&str> = properties.flat_map(Map::keys).map(String::as_str).collect();
    let known = words::near(key, known, usize::MAX, 3);
    if known.is_empty() { String::new() } else { format!(" (near: {})", known.join(", ")) }
}

/// TOML has no null: a field that may be absent is absent.
pub(super) fn without_null(value: &mut Value) {
    if let Value::Object(object) = value {
        if let Some(Value::Array(types)) = object.get_mut("type") {
            types.retain(|kind| kind != "null");
            if let [only] = &types[..] {
                let only = only.clone();
                object.insert("type".into(), only);
            }
        }
        if let Some(Value::Array(mut choices)) = object.remove("anyOf") {
            choices.retain(|choice| *choice != json!({ "type": "null" }));
            match &choices[..] {
                [Value::Object(only)] => object.extend(only.clone()),
                _ => drop(object.insert("anyOf".into(), Value::Array(choices))),
            }
        }
        object.remove("default");
        object.values_mut().for_each(without_null);
    } else if let Value::Array(items) = value {
        items.iter_mut().for_each(without_null);
    }
}

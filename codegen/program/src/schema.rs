//! The shape of cards, board files and layouts as JSON Schema, for editors and for checks in other programs.
//!
//! The files are read by [`pagewise_base::form`], which finds all faults of a file at once and knows rules that no schema can
//! say. The types here describe the same shape once more; a test mutates complete files and demands that reader and
//! schema refuse the same shapes, so that the two cannot drift apart.

mod board;
mod card;
mod layout;

use schemars::{Schema, schema_for};
use serde_json::Value;

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FileKind {
    /// A part's card.
    Card,
    /// A board file.
    Board,
    /// A layout file.
    Layout,
}

impl FileKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Card, Self::Board, Self::Layout];
}

/// The JSON Schema (2020-12) of a kind of file.
#[must_use]
pub fn schema(kind: FileKind) -> Value {
    let schema: Schema = match kind {
        FileKind::Card => schema_for!(card::Card),
        FileKind::Board => schema_for!(board::Board),
        FileKind::Layout => schema_for!(layout::Layout),
    };
    let mut value = schema.to_value();
    without_null(&mut value);
    value
}

/// TOML has no null: a field that may be absent is absent.
fn without_null(value: &mut Value) {
    if let Value::Object(object) = value {
        if let Some(Value::Array(types)) = object.get_mut("type") {
            types.retain(|kind| kind != "null");
            if let [only] = &types[..] {
                let only = only.clone();
                object.insert("type".into(), only);
            }
        }
        if let Some(Value::Array(mut choices)) = object.remove("anyOf") {
            choices.retain(|choice| *choice != serde_json::json!({ "type": "null" }));
            match &choices[..] {
                [Value::Object(only)] => object.extend(only.clone()),
                _ => drop(object.insert("anyOf".into(), Value::Array(choices))),
            }
        }
        if object.get("default").is_some_and(Value::is_null) {
            object.remove("default");
        }
        object.values_mut().for_each(without_null);
    } else if let Value::Array(items) = value {
        items.iter_mut().for_each(without_null);
    }
}

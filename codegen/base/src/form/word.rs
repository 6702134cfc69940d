//! The words of a choice: an enum's names as `serde` writes them, declared once, at the enum.

use schemars::{JsonSchema, schema_for};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde::de::value::{Error, StrDeserializer};
use serde_json::{Map, Value};

use super::said::{choices, spelled};

/// The word for a choice; empty for what is not a plain choice.
#[must_use]
pub fn name<T: Serialize>(choice: &T) -> &'static str {
    serde_variant::to_variant_name(choice).unwrap_or_default()
}

fn said<T: JsonSchema>() -> Map<String, Value> {
    schema_for!(T).to_value().as_object().cloned().unwrap_or_default()
}

/// Every word of a kind of choice, in the order of its declaration.
#[must_use]
pub fn all<T: JsonSchema>() -> Vec<String> {
    choices(&[&said::<T>()])
}

/// The choice that a word stands for, in any of its spellings.
#[must_use]
pub fn read<T: JsonSchema + DeserializeOwned>(word: &str) -> Option<T> {
    let said = said::<T>();
    let word = spelled(word, &choices(&[&said]), &[&said])?;
    T::deserialize(StrDeserializer::<Error>::new(&word)).ok()
}

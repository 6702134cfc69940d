//! Properties: what was seen, how sure that is, and the moments that show it.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// How sure a statement is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Certainty {
    /// The simplest reading; others fit the traffic as well.
    Guess,
    /// Another reading would need several coincidences.
    Likely,
    /// The traffic excludes the others.
    Shown,
}

impl Certainty {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Guess => "guess",
            Self::Likely => "likely",
            Self::Shown => "shown",
        }
    }
}

/// A place in a recording.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Moment {
    /// The recording.
    pub file: String,
    /// Seconds from its start.
    pub seconds: f64,
}

/// Moments that are kept for one statement.
pub(crate) const MOMENTS: usize = 4;

/// One statement about the firmware, the bus or the part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Property {
    /// What it is about, as a word of the JSON answer.
    #[serde(skip)]
    pub name: &'static str,
    /// The value; `null` when it was not seen.
    pub value: Value,
    /// How sure that is; `null` when it was not seen.
    pub sure: Option<Certainty>,
    /// Moments that show it, the first few.
    pub seen_at: Vec<Moment>,
    /// How it was told, or why it was not seen.
    pub why: String,
}

impl Property {
    pub(crate) fn seen(
        name: &'static str,
        value: impl Into<Value>,
        sure: Certainty,
        seen_at: Vec<Moment>,
        why: impl Into<String>,
    ) -> Self {
        Self { name, value: value.into(), sure: Some(sure), seen_at, why: why.into() }
    }

    pub(crate) fn not_seen(name: &'static str, why: impl Into<String>) -> Self {
        Self { name, value: Value::Null, sure: None, seen_at: Vec::new(), why: why.into() }
    }
}

/// A moment of one of the recordings, kept small: position of the file and nanoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord)]
pub(crate) struct At {
    pub(crate) file: usize,
    pub(crate) ns: u64,
}

/// The first few moments of something.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Moments(pub(crate) Vec<At>);

impl Moments {
    pub(crate) fn add(&mut self, at: At) {
        if self.0.len() < MOMENTS && !self.0.contains(&at) {
            self.0.push(at);
        }
    }

    pub(crate) fn one(at: At) -> Self {
        Self(vec![at])
    }
}

//! A value together with where it came from.

use std::fmt;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::Serialize;

/// Where a value of a card came from. Only what is published, and what follows from it, is promised by anyone. The texts are
/// shared: a card has many facts of one document.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(tag = "basis", rename_all = "kebab-case")]
pub enum Basis {
    /// Stated in a published document.
    Published {
        /// The document.
        document: Arc<str>,
    },
    /// Follows from other stated values.
    Derived {
        /// The document that states those.
        document: Arc<str>,
    },
    /// Seen in a recording of a real bus.
    Observed {
        /// The recording.
        source: Arc<str>,
    },
    /// Measured on samples.
    Measured {
        /// On how many, how, and where that is written down.
        source: Arc<str>,
    },
    /// Not stated in the sheet read; filled from the assumption table, or by the card with a reason.
    Assumed {
        /// Why this value is the cautious one.
        why: Arc<str>,
    },
    /// The most cautious value of several published cards.
    Generic {
        /// How many cards were looked at and which one set the value.
        from: Arc<str>,
    },
}

impl Basis {
    /// Its name and what stands behind it.
    #[must_use]
    pub fn parts(&self) -> (&'static str, &str) {
        match self {
            Self::Published { document } => ("published", document),
            Self::Derived { document } => ("derived", document),
            Self::Observed { source } => ("observed", source),
            Self::Measured { source } => ("measured", source),
            Self::Assumed { why } => ("assumed", why),
            Self::Generic { from } => ("generic", from),
        }
    }
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.parts() {
            ("derived", document) => write!(f, "derived from values in {document}"),
            ("assumed", why) => write!(f, "assumed, not stated in the sheet read: {why}"),
            (name, source) => write!(f, "{name}: {source}"),
        }
    }
}

/// A value with its basis.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Fact<T> {
    /// The value.
    pub value: T,
    /// Where it came from.
    #[serde(flatten)]
    pub basis: Basis,
}

impl<T> Fact<T> {
    /// Whether nobody stated, saw or measured this value.
    #[must_use]
    pub fn is_assumed(&self) -> bool {
        matches!(self.basis, Basis::Assumed { .. })
    }

    /// The same basis for a value computed from this one.
    pub fn map<U>(&self, change: impl FnOnce(&T) -> U) -> Fact<U> {
        Fact { value: change(&self.value), basis: self.basis.clone() }
    }
}

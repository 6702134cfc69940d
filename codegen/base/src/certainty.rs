//! How sure a claim is about something that was only looked at: a marking, a dump.

use schemars::JsonSchema;
use serde::Serialize;

/// How sure a claim is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Certainty {
    /// It may be so; something else would explain it as well.
    Possible,
    /// It reads so, and nothing else that is common explains it.
    Likely,
    /// Of a dump: checksums or every byte say so. Of a marking: it is the order code of a card; whether the chip is
    /// what its marking says is another question.
    Certain,
}

impl Certainty {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Possible => "possible",
            Self::Likely => "likely",
            Self::Certain => "certain",
        }
    }
}

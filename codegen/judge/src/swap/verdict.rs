//! The four verdicts.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a swap asks for, from nothing to the impossible. A verdict is the worst of its findings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Nothing changes.
    DropIn,
    /// A firmware or image setting changes, the board stays.
    Reconfigure,
    /// The board changes: straps, pull-ups, WP, footprint.
    Rework,
    /// The part cannot serve: capacity, supply, speed, kind.
    Reject,
}

impl Verdict {
    /// Every verdict, best first.
    pub const ALL: [Self; 4] = [Self::DropIn, Self::Reconfigure, Self::Rework, Self::Reject];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::DropIn => "drop-in",
            Self::Reconfigure => "reconfigure",
            Self::Rework => "rework",
            Self::Reject => "reject",
        }
    }

    /// What it means, in one line.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::DropIn => "nothing changes",
            Self::Reconfigure => "a firmware or image setting changes, the board stays",
            Self::Rework => "the board changes: straps, pull-ups, WP or footprint",
            Self::Reject => "the part cannot serve here",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

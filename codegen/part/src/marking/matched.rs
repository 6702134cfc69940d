//! What a code against the order codes of the cards gives.

use schemars::JsonSchema;
use serde::Serialize;

use super::Certainty;
use crate::card::Kind;

/// A card that a code may mean.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Match {
    /// Identifier of the card.
    pub id: String,
    /// Its order code.
    pub name: String,
    /// Its maker.
    pub maker: String,
    /// Kind of memory.
    #[serde(skip)]
    pub kind: Kind,
    /// Bytes of its array.
    pub bytes: u32,
    /// The piece of the text that names it.
    pub said_by: String,
    /// How sure that is.
    pub sure: Certainty,
    /// Why.
    pub because: String,
    /// The card's whole order code stands at the start of the text.
    #[serde(skip)]
    pub(super) begins: bool,
    /// Characters of the code that it explains.
    #[serde(skip)]
    pub(super) covers: usize,
}

impl Match {
    /// Whether the text is the card's order code, or begins with it and goes on as longer order codes do: with package,
    /// grade, reel. `24C` and digits, which stands on chips of several makers, is not enough.
    #[must_use]
    pub fn is_order_code(&self) -> bool {
        self.sure == Certainty::Certain || self.begins
    }
}

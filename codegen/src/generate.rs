//! Generated driver configurations: a card and its straps in, source text out.
//!
//! All emitted text lives in templates, which are rendered in one place that makes every text of a card harmless. A
//! language is one file here and its templates.
//!
//! # Examples
//!
//! From a build script:
//!
//! ```
//! use pagewise::card::Catalogue;
//! use pagewise::generate::{Request, rust};
//!
//! let catalogue = Catalogue::embedded()?;
//! let card = catalogue.find("AT24C32E").ok_or("no such card")?;
//! let request = Request { card, package: None, pins: [false; 3], module: Some("identity".into()) };
//! let generated = rust::configuration(&request)?;
//! assert!(generated.text.starts_with("pub mod identity {"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod disk;
pub mod rust;
mod template;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::card::geometry::PinLevels;
use crate::card::{Card, Footprint};

/// What to generate.
#[derive(Debug, Clone, PartialEq)]
pub struct Request<'c> {
    /// The part.
    pub card: &'c Card,
    /// Package, where one was named; the card is already as it is in that package ([`Card::in_footprint`]).
    pub package: Option<Footprint>,
    /// Levels of its address pins.
    pub pins: PinLevels,
    /// Name of a module to wrap the text in; `None` for a file that is a module by itself.
    pub module: Option<String>,
}

/// A generated text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Generated {
    /// The source text, formatted.
    pub text: String,
    /// SHA-256 of the card in hexadecimal digits.
    pub digest: String,
    /// Values that no sheet read states.
    pub assumptions: Vec<Assumption>,
}

/// A value of a generated configuration that no sheet read states.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Assumption {
    /// The configuration's field.
    pub field: &'static str,
    /// The value that stands in, as the configuration writes it.
    pub value: String,
    /// Why it is the cautious one.
    pub why: String,
}

/// SHA-256 of everything that a card says, in hexadecimal digits.
///
/// # Panics
/// Never: a card is plain data.
#[must_use]
pub fn digest(card: &Card) -> String {
    let text = serde_json::to_string(card).expect("a card is plain data");
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

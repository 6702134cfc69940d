//! Generated configurations and drivers: cards and straps in, source text out.
//!
//! All emitted text lives in templates, which are rendered in one place that makes every text of a card harmless. A
//! language is one file here and its templates.
//!
//! # Examples
//!
//! From a build script:
//!
//! ```
//! use pagewise_part::card::Catalogue;
//! use pagewise_emit::{Part, Request, rust};
//!
//! let catalogue = Catalogue::embedded()?;
//! let card = catalogue.find("AT24C32E").ok_or("no such card")?;
//! let request = Request::new(vec![Part::new(card, [false; 3])]).in_module("identity");
//! let generated = rust::configuration(&request)?;
//! assert!(generated.files[0].text.starts_with("pub mod identity {"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Several parts give the configuration that is safe on all of them, and what it costs:
//!
//! ```
//! # use pagewise_part::card::Catalogue;
//! # use pagewise_emit::{Part, Request, c};
//! # let catalogue = Catalogue::embedded()?;
//! let parts = ["24LC256", "24LC64"].map(|name| catalogue.find(name).map(|card| Part::new(card, [false; 3])));
//! let request = Request::new(parts.into_iter().flatten().collect());
//! let generated = c::driver(&request)?;
//! assert_eq!(generated.files.iter().map(|file| file.name.as_str()).collect::<Vec<_>>(), ["eeprom.h", "eeprom.c"]);
//! assert!(generated.costs.iter().any(|cost| cost.part == "24lc256" && cost.field == "page_bytes"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![forbid(unsafe_code)]

pub mod c;
mod comment;
pub mod common;
mod contents;
pub mod difference;
mod regions;
mod request;
pub mod rust;
pub mod rust_crate;
mod words;

use serde::Serialize;
use sha2::{Digest, Sha256};

use common::{Cost, Limit};

use pagewise_part::card::{Card, NotSafe};
pub use request::{Assumption, Part, Record, Request, Source};

/// What was generated, and what one must know about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Generated {
    /// The files, in the order in which they are read.
    pub files: Vec<Source>,
    /// SHA-256 of all inputs in hexadecimal digits, as in the header of each file.
    pub digest: String,
    /// Values that no sheet read states.
    pub assumptions: Vec<Assumption>,
    /// Parts on which a generic card among the inputs is not safe.
    pub not_safe_on: Vec<NotSafe>,
    /// For several parts: each common value and which part sets it.
    pub limits: Vec<Limit>,
    /// For several parts: what the common values cost, by part.
    pub costs: Vec<Cost>,
}

/// SHA-256 of everything that a card says, in hexadecimal digits.
#[must_use]
pub fn digest(card: &Card) -> String {
    digest_of(card)
}

/// SHA-256 of the JSON text of plain data.
///
/// # Panics
/// Never: the inputs are plain data.
fn digest_of<T: Serialize>(inputs: &T) -> String {
    let text = serde_json::to_string(inputs).expect("inputs are plain data");
    pagewise_base::words::hex(&Sha256::digest(text.as_bytes()))
}

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
//! use crate::{Part, Request, rust};
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
//! # use crate::{Part, Request, c};
//! # let catalogue = Catalogue::embedded()?;
//! let parts = ["24LC256", "24LC64"].map(|name| catalogue.find(name).map(|card| Part::new(card, [false; 3])));
//! let request = Request::new(parts.into_iter().flatten().collect());
//! let generated = c::driver(&request)?;
//! assert_eq!(generated.files.iter().map(|file| file.name.as_str()).collect::<Vec<_>>(), ["eeprom.h", "eeprom.c"]);
//! assert!(generated.costs.iter().any(|cost| cost.part == "24lc256" && cost.field == "page_bytes"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod c;
mod comment;
pub mod common;
mod contents;
pub mod difference;
mod regions;
pub mod rust;
pub mod rust_crate;

use serde::Serialize;
use sha2::{Digest, Sha256};

use common::{Cost, Limit};
use pagewise_content::layout::Layout;
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Card, Footprint, NotSafe};

/// A part as it is fitted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Part<'c> {
    /// The card, already as it is in its package ([`Card::in_footprint`]).
    pub card: &'c Card,
    /// Package, where one was named.
    pub package: Option<Footprint>,
    /// Levels of its address pins.
    pub pins: PinLevels,
}

impl<'c> Part<'c> {
    /// A part in its usual package.
    #[must_use]
    pub const fn new(card: &'c Card, pins: PinLevels) -> Self {
        Self { card, package: None, pins }
    }
}

/// Where the record lies by which candidates are told apart at run time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Record {
    /// First byte.
    pub offset: u32,
    /// Bytes, at least 1.
    pub bytes: u32,
}

/// What to generate.
#[derive(Debug, Clone, PartialEq)]
pub struct Request<'c> {
    /// The parts that must be served.
    pub parts: Vec<Part<'c>>,
    /// Choose among them at run time by this record, instead of one configuration that is safe on all.
    pub choose: Option<Record>,
    /// Regions that get constants and accessors.
    pub layout: Option<&'c Layout>,
    /// Rust: name of a module to wrap the text in; `None` for a file that is a module by itself. C: what the names
    /// begin with, and the files; `None` for `eeprom`.
    pub module: Option<String>,
}

impl<'c> Request<'c> {
    /// One configuration for these parts.
    #[must_use]
    pub const fn new(parts: Vec<Part<'c>>) -> Self {
        Self { parts, choose: None, layout: None, module: None }
    }

    /// The same with a name, which [`rust::module_name`] and [`c::prefix`] check.
    #[must_use]
    pub fn in_module(mut self, name: &str) -> Self {
        self.module = Some(name.to_owned());
        self
    }

    /// The same with constants and accessors for the regions of a layout.
    #[must_use]
    pub const fn with_layout(mut self, layout: &'c Layout) -> Self {
        self.layout = Some(layout);
        self
    }

    /// The same with a choice at run time.
    #[must_use]
    pub const fn choosing(mut self, record: Record) -> Self {
        self.choose = Some(record);
        self
    }
}

/// One generated file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Source {
    /// Its name; that of a single file is the caller's choice and this a proposal.
    pub name: String,
    /// The source text, formatted.
    pub text: String,
}

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

/// A value of a generated configuration that no sheet read states.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Assumption {
    /// The part's card.
    pub part: String,
    /// The configuration's field.
    pub field: &'static str,
    /// The value that stands in, as Rust writes it.
    pub value: String,
    /// Why it is the cautious one.
    pub why: String,
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
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

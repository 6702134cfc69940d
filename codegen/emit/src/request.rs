//! What is asked for.

use schemars::JsonSchema;
use serde::Serialize;

use pagewise_content::layout::Layout;
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Card, Footprint};

/// A part as it is fitted.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
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
    /// The parts that share one placement of the layout, the parts to be served among them; empty: it must come out alike in
    /// each of those.
    pub sharing: Vec<&'c Card>,
    /// Rust: name of a module to wrap the text in; `None` for a file that is a module by itself. C: what the names
    /// begin with, and the files; `None` for `eeprom`.
    pub module: Option<String>,
}

impl<'c> Request<'c> {
    /// One configuration for these parts.
    #[must_use]
    pub const fn new(parts: Vec<Part<'c>>) -> Self {
        Self { parts, choose: None, layout: None, sharing: Vec::new(), module: None }
    }

    /// The same with a name, which [`crate::rust::module_name`] and [`crate::c::prefix`] check.
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

    /// The same with one placement of the layout for these parts.
    #[must_use]
    pub fn sharing(mut self, cards: Vec<&'c Card>) -> Self {
        self.sharing = cards;
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
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Source {
    /// Its name; that of a single file is the caller's choice and this a proposal.
    pub name: String,
    /// The source text, formatted.
    pub text: String,
}

/// A value of a generated configuration that no sheet read states.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
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

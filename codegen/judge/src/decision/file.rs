//! What may stand in a decision file: the one declaration of its fields, by which it is read and written.

use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::swap::Verdict;
use pagewise_base::form::Shape;

/// The shape of decision files.
pub static SHAPE: LazyLock<Shape<DecisionFile>> = LazyLock::new(Shape::new);

/// A decision: the parts that may be fitted on a board, what each of them rests on, and who settled that.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DecisionFile {
    /// Name of the board.
    #[schemars(regex(pattern = r"\S"))]
    pub board: String,
    /// Board file, or the table that the board stands in, seen from the folder of this file.
    #[schemars(regex(pattern = r"\S"))]
    pub board_file: String,
    /// Identifier of the fitted part's card.
    #[schemars(regex(pattern = r"\S"))]
    pub fitted: String,
    /// Version of Pagewise that judged.
    #[schemars(regex(pattern = r"\S"))]
    pub judged_by: String,
    /// SHA-256 of the board as it was judged, in hexadecimal.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub board_sha256: String,
    /// What belongs to the decision: firmware, or contents of the part.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub image: Vec<Image>,
    /// Parts that may be fitted, best first.
    pub part: Vec<Part>,
}

/// A part that may be fitted.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// What may be ordered.
    #[schemars(regex(pattern = r"\S"))]
    pub order_code: String,
    /// Identifier of its card.
    #[schemars(regex(pattern = r"\S"))]
    pub card: String,
    /// SHA-256 of the card as it was judged, in hexadecimal.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub card_sha256: String,
    /// The verdict if every condition holds.
    pub verdict: Verdict,
    /// What has to be done, each with its rule.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<String>,
    /// Firmware settings, straps and pull-ups that differ from the board as it is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub setting: Vec<Setting>,
    /// What the verdict takes for granted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub condition: Vec<Condition>,
}

/// A setting that differs.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    /// Which.
    #[schemars(regex(pattern = r"\S"))]
    pub what: String,
    /// As it is.
    #[schemars(regex(pattern = r"\S"))]
    pub now: String,
    /// As it must be.
    #[schemars(regex(pattern = r"\S"))]
    pub then: String,
}

/// Something that a verdict takes for granted.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// What is taken for granted, word by word as the judgement says it.
    #[schemars(regex(pattern = r"\S"))]
    pub says: String,
    /// What settled it; absent while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settled: Option<Settled>,
}

/// What settled a condition.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settled {
    /// A data sheet, a measurement, or a person who answers for it.
    pub by: By,
    /// Document with revision and page, file of samples, or the reason.
    #[schemars(regex(pattern = r"\S"))]
    pub what: String,
    /// Who settled it.
    #[schemars(regex(pattern = r"\S"))]
    pub who: String,
    /// When, as 2026-01-31.
    #[schemars(regex(pattern = r"^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"))]
    pub on: String,
}

/// By what a condition is settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// The data sheet of the exact order code.
    Sheet,
    /// A measurement on samples.
    Measurement,
    /// A person who answers for it.
    Signature,
}

/// A file that belongs to a decision.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Image {
    /// The file, seen from the folder of the decision.
    #[schemars(regex(pattern = r"\S"))]
    pub file: String,
    /// What it is.
    pub holds: Holds,
    /// SHA-256 of the file, in hexadecimal.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub sha256: String,
}

/// What an image is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Holds {
    /// The firmware of the board.
    Firmware,
    /// What the part is programmed with: an image, or the manifest of a folder of them.
    Contents,
}

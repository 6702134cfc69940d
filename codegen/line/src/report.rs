//! What the line has to say about one unit.

use schemars::JsonSchema;
use serde::Serialize;

use super::Halt;
use super::difference::Difference;
use super::journal::Site;
use super::plan::Holds;
use super::units::Unit;

/// How a unit ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// Everything was read back and is as wanted.
    Good,
    /// The journal calls it good already; nothing was done.
    AlreadyGood,
    /// The line would have lost something and did nothing.
    Refused,
    /// A fault stopped the line.
    Failed,
    /// Somebody stopped the line.
    Stopped,
}

/// What happened to a unit.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct UnitReport {
    /// Its name.
    pub unit: String,
    /// Its image.
    pub image: String,
    /// SHA-256 of the image file.
    pub sha256: String,
    /// Bytes of the image.
    pub image_bytes: u64,
    /// On a simulated part: it says nothing of any hardware.
    pub simulated: bool,
    /// The bus: `simulated`, or the path of the device.
    pub bus: String,
    /// How it ended.
    pub result: Ending,
    /// Why it did not end well.
    pub halt: Option<Halt>,
    /// A record that calls the unit good and does not count here, and why not.
    pub note: Option<String>,
    /// Other device addresses that answer.
    pub others: Vec<u8>,
    /// What the part held.
    pub held: Option<Holds>,
    /// The same in words.
    pub contents: Option<String>,
    /// File with what it held before.
    pub backup: Option<String>,
    /// A run that did not end was taken up.
    pub resumed: bool,
    /// Pieces, none larger than a page, that were written.
    pub pages_written: u32,
    /// Pieces that were as wanted already.
    pub pages_kept: u32,
    /// Pieces that should be written, together.
    pub pages_to_write: u32,
    /// Where it differed when everything was read back.
    pub differences: Vec<Difference>,
    /// What the part holds after a fault.
    pub survey: Option<Survey>,
    /// SHA-256 of the whole part as read back.
    pub part_sha256: Option<String>,
    /// The identification page was locked.
    pub locked: bool,
    /// Time on a simulated bus, in microseconds.
    pub simulated_us: Option<u64>,
}

/// What a part holds after a fault, in pieces of the image.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Survey {
    /// As wanted.
    pub as_wanted: u32,
    /// As before.
    pub as_before: u32,
    /// Neither.
    pub neither: u32,
}

impl UnitReport {
    /// A unit that the line did not come to.
    #[must_use]
    pub fn not_begun(unit: &Unit, site: &Site, halt: Halt) -> Self {
        Self { result: halt.result, halt: Some(halt), ..Self::of(unit, site) }
    }

    /// Nothing has happened yet.
    pub(super) fn of(unit: &Unit, site: &Site) -> Self {
        Self {
            unit: unit.name.clone(),
            image: unit.file.clone(),
            sha256: unit.wanted.sha256.clone(),
            image_bytes: unit.wanted.image().len(),
            simulated: site.simulated,
            bus: site.bus.clone(),
            result: Ending::Good,
            halt: None,
            note: None,
            others: Vec::new(),
            held: None,
            contents: None,
            backup: None,
            resumed: false,
            pages_written: 0,
            pages_kept: 0,
            pages_to_write: 0,
            differences: Vec::new(),
            survey: None,
            part_sha256: None,
            locked: false,
            simulated_us: None,
        }
    }
}

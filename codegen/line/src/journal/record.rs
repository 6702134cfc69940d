//! What stands in a line of the journal.

use std::time::SystemTime;

use serde::{Deserialize, Serialize};

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    /// From here on the part may hold anything between what it held and the image.
    Begin,
    /// The region is about to be locked for ever.
    LockBegin,
    /// The region is locked.
    Locked,
    /// Everything was read back and is as wanted.
    Good,
    /// A fault stopped the line.
    Failed,
    /// Somebody stopped the line.
    Stopped,
    /// The line would have lost something and did nothing.
    Refused,
    /// Somebody checked the first unit of a run and released the others.
    Released,
}

/// What a person says of the parts and of the place.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Particulars {
    /// Order code, as it stands on the reel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order_code: Option<String>,
    /// Lot of the parts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// Date code of the parts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date_code: Option<String>,
    /// Where they are programmed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub station: Option<String>,
    /// Who programs them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
}

impl Particulars {
    /// Nothing was said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// One line of the journal, without its version and its digest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// Version of Pagewise.
    pub pagewise: String,
    /// What happened.
    pub event: Event,
    /// To which unit.
    pub unit: String,
    /// When: UTC, RFC 3339.
    pub at: String,
    /// When the run of this unit began; on the records that end it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub begun_at: Option<String>,
    /// Card of the part.
    pub part: String,
    /// The part was a simulated one: the record never counts on hardware.
    pub simulated: bool,
    /// What a person says of the part and of the place.
    #[serde(default, skip_serializing_if = "Particulars::is_empty")]
    pub particulars: Particulars,
    /// `simulated`, or the path of the device.
    pub bus: String,
    /// File of the simulated part's memory, as seen from the journal's folder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub memory: Option<String>,
    /// 7-bit device address of the part.
    pub device_address: u8,
    /// The image file.
    pub image: String,
    /// Its SHA-256.
    pub sha256: String,
    /// SHA-256 of what the whole part is to hold when the run ends well; from `begin` on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wanted_sha256: Option<String>,
    /// File with what the part held before, as seen from the journal's folder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backup: Option<String>,
    /// SHA-256 of that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backup_sha256: Option<String>,
    /// SHA-256 of the whole part as it was read back; on `good`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part_sha256: Option<String>,
    /// Page writes that were made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pages_written: Option<u32>,
    /// The step at which it ended, where it did not end well.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// The time now as the journal writes it.
#[must_use]
pub fn now() -> String {
    humantime::format_rfc3339_millis(SystemTime::now()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_rfc_3339_in_utc() {
        // The TOML standard takes its date-times from RFC 3339.
        let text = format!("at = {}", now());
        let read: toml::Table = text.parse().unwrap();
        let at = read["at"].as_datetime().unwrap();
        assert_eq!(at.offset, Some(toml::value::Offset::Z));
    }
}

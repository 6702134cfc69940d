//! Second regions of a part: serial number, identification page, network addresses, protection registers.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Role, Span};

/// A second region of a part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Region {
    /// What it is.
    pub kind: RegionKind,
    /// Device-address roles, bit 6 first; absent when it lies in the array.
    pub device_bits: Option<[Role; 7]>,
    /// Whether its address was read; otherwise it exists, and nothing is known of where.
    pub address_read: bool,
    /// First word address.
    pub word_address: u32,
    /// Whether it was read, where the part is asked for one.
    pub word_address_read: bool,
    /// Word-address bits that are compared; absent: all.
    pub address_mask: Option<u32>,
    /// Word-address bytes sent for it.
    pub word_address_bytes: u8,
    /// Size in bytes.
    pub length: u32,
    /// Who may write.
    pub access: Access,
    /// Array range that a protection register protects.
    pub protects: Span,
    /// First bytes that are the same in every part.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub contents: Vec<u8>,
    /// Reading rolls over after this many bytes; absent: at its own end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rolls_after: Option<u32>,
    /// It is read from the address pointer of the array.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub shares_pointer: bool,
    /// Remark.
    pub note: Option<String>,
}

/// What a second region is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RegionKind {
    /// Factory serial number.
    SerialNumber,
    /// Identification page.
    IdentificationPage,
    /// EUI-48.
    #[serde(rename = "eui-48")]
    Eui48,
    /// EUI-64.
    #[serde(rename = "eui-64")]
    Eui64,
    /// Protection for good.
    PermanentProtection,
    /// Protection that can be cleared.
    ReversibleProtection,
    /// Bank chosen by a command.
    BankSelect,
    /// Device identification, read by the reserved address 0x7C (F8h and F9h with R/W).
    DeviceId,
    /// A protection bit for each page of the array, set over the bus.
    PageProtection,
}

/// Who may write a second region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Access {
    /// Nobody.
    ReadOnly,
    /// Everybody until locked for good.
    Lockable,
    /// Everybody.
    ReadWrite,
}

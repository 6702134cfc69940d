//! Second regions of a part: what lies beside the array, and registers.

use crate::model::{ByteRange, DeviceBit};

/// A second region of a part.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Region {
    /// What it is.
    pub kind: RegionKind,
    /// Device-address bits it answers to, bit 6 first; `None` when it lies in the array.
    pub device_bits: Option<[DeviceBit; 7]>,
    /// First word address.
    pub word_address: u32,
    /// Mask of the word-address bits that are compared; the rest is don't care. 0 for as many bits as the region has bytes.
    pub address_mask: u32,
    /// Word-address bytes sent for it.
    pub word_address_bytes: u8,
    /// Size in bytes.
    pub len: u32,
    /// Who may write it.
    pub access: RegionAccess,
    /// For software protection: the array range that it protects.
    pub protects: ByteRange,
}

impl Region {
    /// The mask of compared word-address bits; where none is given, as many bits as the region has bytes.
    pub(crate) fn mask(&self) -> u32 {
        if self.address_mask == 0 { self.len.next_power_of_two() - 1 } else { self.address_mask }
    }
}

/// What a second region is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
pub enum RegionKind {
    /// Factory-programmed serial number.
    SerialNumber,
    /// Identification page, for the user.
    IdentificationPage,
    /// 48-bit network address.
    Eui48,
    /// 64-bit network address.
    Eui64,
    /// Software write protection that cannot be undone.
    PermanentProtection,
    /// Software write protection that can be cleared.
    ReversibleProtection,
    /// Bank select by command (two dummy bytes), for all such chips on a bus.
    BankSelect,
}

/// Who may write a region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
pub enum RegionAccess {
    /// Nobody.
    ReadOnly,
    /// Everybody, until it is locked for good.
    Lockable,
    /// Everybody.
    ReadWrite,
}

//! Second regions of a part: what lies beside the array, and registers.

use alloc::vec::Vec;

use crate::model::{ByteRange, DeviceBit};

/// A second region of a part.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// First bytes that are the same in every part (maker's and device code).
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Vec::is_empty"))]
    pub contents: Vec<u8>,
    /// Reading rolls over after this many bytes, a power of two, aligned; what lies beyond the regions there reads as 0.
    /// 0: each region rolls over at its own end.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "is_zero"))]
    pub rolls_after: u32,
    /// It is read from the address pointer of the array, so that each access to one moves the other.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "core::ops::Not::not"))]
    pub shares_pointer: bool,
}

#[cfg(feature = "serde")]
fn is_zero(bytes: &u32) -> bool {
    *bytes == 0
}

impl Region {
    /// Whether it holds bytes; the others are commands.
    pub(crate) fn holds_data(&self) -> bool {
        !matches!(
            self.kind,
            RegionKind::PermanentProtection | RegionKind::ReversibleProtection | RegionKind::BankSelect
        )
    }

    /// The place of a word address in the region; with `rolled`, in all that is read until it rolls over.
    pub(crate) fn place(&self, address: u32, rolled: bool) -> Option<u32> {
        let mask = self.mask();
        let room = if rolled { self.rolled_len() } else { self.len };
        (address & mask).checked_sub(self.word_address & mask).filter(|at| *at < room)
    }

    /// Bytes from its first one until reading rolls over; 0 if it does so at its own end.
    fn rolled_len(&self) -> u32 {
        if self.rolls_after == 0 { 0 } else { self.rolls_after - self.word_address % self.rolls_after }
    }

    /// The mask of compared word-address bits; where none is given, as many bits as the region has bytes.
    pub(crate) fn mask(&self) -> u32 {
        if self.address_mask == 0 { self.len.next_power_of_two() - 1 } else { self.address_mask }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    #[test]
    fn a_place_in_a_region_is_counted_from_its_word_address_and_ends_with_it_or_where_reading_rolls_over() {
        let region = |rolls_after| Region {
            kind: RegionKind::SerialNumber,
            device_bits: None,
            word_address: 0x98,
            address_mask: 0xFFFF,
            word_address_bytes: 2,
            len: 8,
            access: RegionAccess::ReadOnly,
            protects: crate::model::ByteRange::EMPTY,
            contents: vec![],
            rolls_after,
            shares_pointer: false,
        };
        let places = |rolls_after, rolled| {
            [0x97, 0x98, 0x9F, 0xA0, 0xFF, 0x100].map(|address| region(rolls_after).place(address, rolled))
        };
        assert_eq!(places(0, false), [None, Some(0), Some(7), None, None, None]);
        assert_eq!(places(256, false), places(0, false));
        // 0x98 to 0xFF are 104 bytes, behind which the read begins anew at 0x00.
        assert_eq!(places(256, true), [None, Some(0), Some(7), Some(8), Some(103), None]);
        // As many bits are compared as the region has bytes.
        let by_length = Region { address_mask: 0, word_address: 0, ..region(0) };
        assert_eq!([0x07, 0x08, 0x17].map(|address| by_length.place(address, false)), [Some(7), Some(0), Some(7)]);
    }
}

/// What a second region is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
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
    /// Device identification by the reserved address 0x7C (0xF8 and 0xF9 with R/W): a write of the part's own device
    /// address behind it chooses the part, a repeated START reads its bytes. Source: UM10204 Rev.6 3.1.17.
    DeviceId,
    /// Bank select by command (two dummy bytes), for all such chips on a bus.
    BankSelect,
}

/// Who may write a region.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum RegionAccess {
    /// Nobody.
    ReadOnly,
    /// Everybody, until it is locked for good.
    Lockable,
    /// Everybody.
    ReadWrite,
}

//! The only address arithmetic of the driver: an offset becomes a device address and header bytes.

use crate::geometry::Geometry;

/// The word-address bytes that follow the device address, most significant first; empty on a part whose device
/// address is the word address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Header {
    bytes: [u8; 3],
    length: u8,
}

impl Header {
    /// No header at all.
    pub const EMPTY: Self = Self { bytes: [0; 3], length: 0 };

    /// The bytes as they go over the wire, 0 to 3.
    pub fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.length)).unwrap_or(&[])
    }

    /// Number of bytes, 0 to 3.
    pub const fn len(&self) -> usize {
        self.length as usize
    }

    /// Whether there are no bytes.
    pub const fn is_empty(&self) -> bool {
        self.length == 0
    }
}

/// Where an offset is found on the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Location {
    /// 7-bit device address, block-select bits included.
    pub device_address: u8,
    /// Word-address bytes.
    pub header: Header,
}

impl Geometry {
    /// Device address and header of an offset in bytes.
    ///
    /// An offset beyond the capacity has no place on the part; its surplus bits are dropped, as the part would do.
    ///
    /// ```
    /// # use pagewise_driver::{Geometry, Parameters};
    /// // A 16 kbit part (2048 bytes): three block-select bits in the device address, one word-address byte.
    /// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(2048).with_page_bytes(16)
    /// #     .with_word_address_bytes(1).with_block_select_bits(3).with_sequential_read_bytes(2048)
    /// #     .with_write_cycle_us(5_000));
    /// let place = PART.locate(0x3A7);
    /// assert_eq!(place.device_address, 0x53);
    /// assert_eq!(place.header.as_bytes(), [0xA7]);
    /// ```
    pub const fn locate(&self, offset: u32) -> Location {
        // The word-address bytes move to the top, most significant first; what is above them is the block.
        let word_bits = 8 * (self.word_address_bytes() as u32 & 3);
        let [first, second, third, _] = offset.wrapping_shl(32u32.wrapping_sub(word_bits)).to_be_bytes();
        let bytes = [first, second, third];
        let mask = 0x7Fu8.wrapping_shr(7u32.wrapping_sub(self.block_select_bits() as u32));
        let block = offset.wrapping_shr(word_bits) as u8 & mask;
        let select = block.wrapping_shl(self.block_select_shift() as u32);
        let header = Header { bytes, length: self.word_address_bytes() };
        Location { device_address: self.device_address() | select, header }
    }
}

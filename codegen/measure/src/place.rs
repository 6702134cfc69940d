//! Places in an array, as they are sent.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A place: device address, and a word address of so many bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) device: u8,
    /// Word-address bytes, 0 to 3.
    pub(crate) width: u8,
    pub(crate) offset: u32,
}

impl Place {
    /// The word-address bytes, most significant first.
    pub(crate) fn header(self) -> Vec<u8> {
        self.offset.to_be_bytes()[4 - usize::from(self.width)..].to_vec()
    }
}

/// A device address with a number of word-address bytes: what a chip shows under one hypothesis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Window {
    /// Device address; where the device address is the word address, the first of those.
    pub device: u8,
    /// Word-address bytes, 0 to 3.
    pub width: u8,
}

impl Window {
    /// Bytes that the word address can name.
    #[must_use]
    pub fn bytes(self) -> u32 {
        1 << (8 * u32::from(self.width))
    }

    /// A place in it. Without word-address bytes, the device address counts on.
    pub(crate) fn at(self, offset: u32) -> Place {
        if self.width == 0 {
            return Place { device: self.device + offset as u8, width: 0, offset: 0 };
        }
        Place { device: self.device, width: self.width, offset: offset & (self.bytes() - 1) }
    }
}

/// Bytes that may be written: a power of two, aligned to itself, so that no page wrap leaves it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Scratch {
    /// First byte.
    pub start: u32,
    /// Bytes.
    pub bytes: u32,
}

impl Scratch {
    /// Smallest range with which anything can be measured, in bytes.
    pub const LEAST: u32 = 16;

    /// A range.
    ///
    /// # Errors
    /// It is not a power of two from 16 to 65536, or not aligned to itself.
    pub fn new(start: u32, bytes: u32) -> Result<Self, String> {
        if !bytes.is_power_of_two() || !(Self::LEAST..=65_536).contains(&bytes) {
            return Err(format!("{bytes} bytes are not a power of two from {} to 65536", Self::LEAST));
        }
        if !start.is_multiple_of(bytes) {
            return Err(format!("0x{start:X} is not a multiple of {bytes}, so that a page wrap could leave the range"));
        }
        Ok(Self { start, bytes })
    }

    /// Where the first byte is written: away from the ends of any block in which a read may stay, so that reading around
    /// it shows it between its neighbours.
    pub(crate) const fn first(self) -> u32 {
        self.start + self.bytes / 2 + 4
    }

    /// What of it a window reaches.
    pub(crate) const fn within(self, bytes: u32) -> Self {
        Self { start: self.start & (bytes - 1), bytes: if self.bytes < bytes { self.bytes } else { bytes } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_have_as_many_bytes_as_the_window_says() {
        assert_eq!(Window { device: 0x50, width: 2 }.at(0x123).header(), [0x01, 0x23]);
        assert_eq!(Window { device: 0x50, width: 1 }.at(0x123).header(), [0x23]);
        let place = Window { device: 0x50, width: 0 }.at(3);
        assert_eq!((place.device, place.header()), (0x53, Vec::new()));
    }

    #[test]
    fn a_scratch_range_is_aligned_to_itself() {
        assert!(Scratch::new(0x100, 256).is_ok());
        for (start, bytes) in [(0, 8), (0, 24), (0x80, 256), (0, 131_072)] {
            assert!(Scratch::new(start, bytes).is_err(), "{start} {bytes}");
        }
        assert_eq!(Scratch { start: 0x300, bytes: 64 }.within(256), Scratch { start: 0, bytes: 64 });
    }
}

//! One geometry that is safe on several parts.

use core::fmt;

use crate::geometry::{Geometry, GeometryError, Parameters};

/// Why several parts have no common geometry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CommonError {
    /// No part was given.
    Empty,
    /// Another number of word-address bytes: the same bytes on the wire mean different things.
    WordAddressBytes {
        /// Index of the part that differs from the first one.
        index: usize,
        /// Word-address bytes of the first part.
        first: u8,
        /// Word-address bytes of this part.
        found: u8,
    },
    /// Another device address.
    DeviceAddress {
        /// Index of the part that differs from the first one.
        index: usize,
        /// Device address of the first part.
        first: u8,
        /// Device address of this part.
        found: u8,
    },
    /// Another number or place of block-select bits.
    BlockSelect {
        /// Index of the part that differs from the first one.
        index: usize,
        /// Number and shift of the first part's bits.
        first: (u8, u8),
        /// Number and shift of this part's bits.
        found: (u8, u8),
    },
    /// The common values fit no geometry.
    Geometry(GeometryError),
}

impl CommonError {
    /// What is wrong, without the numbers; usable in a constant.
    pub const fn message(&self) -> &'static str {
        match self {
            Self::Empty => "no part was given",
            Self::WordAddressBytes { .. } => "the parts take different numbers of word-address bytes",
            Self::DeviceAddress { .. } => "the parts have different device addresses",
            Self::BlockSelect { .. } => "the parts have different block-select bits",
            Self::Geometry(error) => error.message(),
        }
    }
}

impl fmt::Display for CommonError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Self::Geometry(error) = self {
            return error.fmt(f);
        }
        f.write_str(self.message())?;
        match *self {
            Self::Empty | Self::Geometry(_) => Ok(()),
            Self::WordAddressBytes { index, first, found } => {
                write!(f, ": part 0 takes {first}, part {index} takes {found}")
            }
            Self::DeviceAddress { index, first, found } => {
                write!(f, ": part 0 has {first:#04x}, part {index} has {found:#04x}")
            }
            Self::BlockSelect { index, first: (bits, shift), found: (other_bits, other_shift) } => {
                write!(f, ": part 0 has {bits} at shift {shift}, part {index} has {other_bits} at shift {other_shift}")
            }
        }
    }
}

impl core::error::Error for CommonError {}

impl Geometry {
    /// The geometry that is safe on all these parts: smallest capacity, smallest page, smallest sequential-read block,
    /// longest write cycle.
    ///
    /// # Errors
    ///
    /// [`CommonError`] if word-address bytes, device address or block-select bits differ: no setting can serve such
    /// parts without knowing which one is fitted (see [`choose`](crate::choose)).
    ///
    /// # Examples
    ///
    /// ```
    /// use pagewise_driver::{CommonError, Geometry, Parameters};
    /// # const A: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
    /// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
    /// # const B: Geometry = Geometry::new(A.parameters().with_capacity_bytes(8192).with_page_bytes(8)
    /// #     .with_sequential_read_bytes(8192).with_write_cycle_us(10_000));
    /// const BOTH: Geometry = match Geometry::common(&[A, B]) {
    ///     Ok(geometry) => geometry,
    ///     Err(error) => panic!("{}", error.message()),
    /// };
    /// assert_eq!((BOTH.capacity_bytes(), BOTH.page_bytes(), BOTH.write_cycle_us()), (4096, 8, 10_000));
    /// ```
    pub const fn common(parts: &[Geometry]) -> Result<Geometry, CommonError> {
        let [first, rest @ ..] = parts else { return Err(CommonError::Empty) };
        let mut common = first.parameters();
        let mut rest = rest;
        let mut index = 1usize;
        while let [part, others @ ..] = rest {
            common = match merge(&common, &part.parameters(), index) {
                Ok(common) => common,
                Err(error) => return Err(error),
            };
            rest = others;
            index = index.saturating_add(1);
        }
        match Geometry::try_new(common) {
            Ok(geometry) => Ok(geometry),
            Err(error) => Err(CommonError::Geometry(error)),
        }
    }
}

const fn merge(a: &Parameters, b: &Parameters, index: usize) -> Result<Parameters, CommonError> {
    if a.word_address_bytes != b.word_address_bytes {
        let (first, found) = (a.word_address_bytes, b.word_address_bytes);
        return Err(CommonError::WordAddressBytes { index, first, found });
    }
    if a.device_address != b.device_address {
        return Err(CommonError::DeviceAddress { index, first: a.device_address, found: b.device_address });
    }
    let same_place = a.block_select_bits == 0 || a.block_select_shift == b.block_select_shift;
    if a.block_select_bits != b.block_select_bits || !same_place {
        let first = (a.block_select_bits, a.block_select_shift);
        return Err(CommonError::BlockSelect { index, first, found: (b.block_select_bits, b.block_select_shift) });
    }
    Ok(Parameters {
        capacity_bytes: min(a.capacity_bytes, b.capacity_bytes),
        page_bytes: min(a.page_bytes, b.page_bytes),
        sequential_read_bytes: min(a.sequential_read_bytes, b.sequential_read_bytes),
        write_cycle_us: max(a.write_cycle_us, b.write_cycle_us),
        ..*a
    })
}

const fn min(a: u32, b: u32) -> u32 {
    if a < b { a } else { b }
}

const fn max(a: u32, b: u32) -> u32 {
    if a > b { a } else { b }
}

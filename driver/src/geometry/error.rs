//! What can be wrong with the description of a part.

use core::fmt;

/// Why a [`Parameters`](super::Parameters) value describes no possible part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum GeometryError {
    /// The capacity is zero.
    CapacityZero,
    /// The page is not a power of two, or larger than the capacity, or the capacity is not a whole number of pages.
    Page {
        /// The page that was given, in bytes.
        page_bytes: u32,
        /// The capacity that was given, in bytes.
        capacity_bytes: u32,
    },
    /// The write cycle was not stated; 0 says that there is none.
    WriteCycleUnstated,
    /// The page is larger than what one word address can count through (256 bytes for one word-address byte), and the
    /// part is not a pageless one with its whole capacity as the page.
    PageBeyondBlock {
        /// The page that was given, in bytes.
        page_bytes: u32,
        /// Bytes that the word-address bytes alone can tell apart.
        block_bytes: u32,
    },
    /// More than three word-address bytes.
    WordAddressBytes {
        /// The number that was given.
        found: u8,
    },
    /// The device address has more than seven bits. An 8-bit notation (0xA0) must be shifted right by one.
    DeviceAddress {
        /// The address that was given.
        found: u8,
    },
    /// The block-select bits do not fit the seven bits of the device address.
    BlockSelectRange {
        /// The number of bits that was given.
        bits: u8,
        /// The shift that was given.
        shift: u8,
    },
    /// A block-select bit is set in the device address.
    BlockSelectCollision {
        /// The device address that was given.
        device_address: u8,
        /// The bits of the device address that carry block-select bits.
        mask: u8,
    },
    /// The address bits cannot reach the capacity.
    CapacityUnreachable {
        /// The capacity that was given, in bytes.
        capacity_bytes: u32,
        /// Bytes that word-address bytes and block-select bits together can tell apart.
        reach_bytes: u32,
    },
    /// There are more block-select bits than the capacity needs.
    BlockSelectUnneeded {
        /// The capacity that was given, in bytes.
        capacity_bytes: u32,
        /// Bytes that could be told apart with one block-select bit less.
        reach_without_bytes: u32,
    },
    /// Without word-address bytes only one shape is possible: 128 bytes, device address 0, seven block-select bits
    /// at shift 0.
    ZeroByteShape {
        /// The capacity that was given, in bytes.
        capacity_bytes: u32,
        /// The device address that was given.
        device_address: u8,
        /// The number of block-select bits that was given.
        block_select_bits: u8,
    },
    /// The sequential-read block is not a power of two or the capacity is not a whole number of them.
    SequentialRead {
        /// The block that was given, in bytes.
        sequential_read_bytes: u32,
        /// The capacity that was given, in bytes.
        capacity_bytes: u32,
    },
}

impl GeometryError {
    /// What is wrong, without the numbers; usable in a constant.
    pub const fn message(&self) -> &'static str {
        match self {
            Self::CapacityZero => "the capacity is zero",
            Self::WriteCycleUnstated => "the write cycle was not stated; 0 says that there is none",
            Self::Page { .. } => "the page must be a power of two and the capacity a whole number of pages",
            Self::PageBeyondBlock { .. } => "the page is larger than what the word-address bytes can count through",
            Self::WordAddressBytes { .. } => "more than three word-address bytes",
            Self::DeviceAddress { .. } => "the device address has more than seven bits; shift an 8-bit address right",
            Self::BlockSelectRange { .. } => "the block-select bits do not fit the device address",
            Self::BlockSelectCollision { .. } => "a block-select bit is set in the device address",
            Self::CapacityUnreachable { .. } => "word-address bytes and block-select bits cannot reach the capacity",
            Self::BlockSelectUnneeded { .. } => "more block-select bits than the capacity needs",
            Self::ZeroByteShape { .. } => {
                "without word-address bytes: 128 bytes, device address 0, seven block-select bits, shift 0"
            }
            Self::SequentialRead { .. } => {
                "the sequential-read block must be a power of two and the capacity a whole number of blocks"
            }
        }
    }
}

impl fmt::Display for GeometryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.message())?;
        match *self {
            Self::CapacityZero | Self::WriteCycleUnstated => Ok(()),
            Self::ZeroByteShape { capacity_bytes, device_address, block_select_bits } => {
                write!(f, ": {capacity_bytes} bytes, device address {device_address:#04x}, {block_select_bits} bits")
            }
            Self::Page { page_bytes, capacity_bytes } => {
                write!(f, ": page {page_bytes} bytes, capacity {capacity_bytes} bytes")
            }
            Self::PageBeyondBlock { page_bytes, block_bytes } => {
                write!(f, ": page {page_bytes} bytes, word address counts {block_bytes} bytes")
            }
            Self::WordAddressBytes { found } => write!(f, ": {found}"),
            Self::DeviceAddress { found } => write!(f, ": {found:#04x}"),
            Self::BlockSelectRange { bits, shift } => write!(f, ": {bits} bits at shift {shift}"),
            Self::BlockSelectCollision { device_address, mask } => {
                write!(f, ": device address {device_address:#04x}, block-select mask {mask:#04x}")
            }
            Self::CapacityUnreachable { capacity_bytes, reach_bytes } => {
                write!(f, ": capacity {capacity_bytes} bytes, reach {reach_bytes} bytes")
            }
            Self::BlockSelectUnneeded { capacity_bytes, reach_without_bytes } => {
                write!(f, ": capacity {capacity_bytes} bytes, reach with one bit less {reach_without_bytes} bytes")
            }
            Self::SequentialRead { sequential_read_bytes, capacity_bytes } => {
                write!(f, ": block {sequential_read_bytes} bytes, capacity {capacity_bytes} bytes")
            }
        }
    }
}

impl core::error::Error for GeometryError {}

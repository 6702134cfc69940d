//! What the driver must know about a part: sizes, address shape and write time.
//!
//! A [`Geometry`] can only exist if its parameters fit together, so the planner never meets a bad one. A geometry
//! that is a constant is checked by the compiler.

mod error;

pub use error::GeometryError;

/// The values that describe a part, as read from its data sheet; not yet checked. Made by [`Parameters::new`] and the
/// functions that set one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Parameters {
    /// Capacity in bytes (32 kbit = 4096 bytes).
    pub capacity_bytes: u32,
    /// Page in bytes: a power of two, at most the capacity. A part without pages (FRAM) has its whole capacity here.
    pub page_bytes: u32,
    /// Word-address bytes that follow the device address on the wire, 0 to 3. Zero means that the device address
    /// itself is the word address (see [`Geometry::try_new`]).
    pub word_address_bytes: u8,
    /// Device address, 7 bits, right-aligned (0x50, not 0xA0), with all block-select bits zero.
    pub device_address: u8,
    /// Number of word-address bits that ride in the device address, 0 to 7.
    pub block_select_bits: u8,
    /// Position of the lowest block-select bit in the 7-bit device address; 0 is the bit next to R/W.
    pub block_select_shift: u8,
    /// Aligned block, in bytes, inside which one sequential read stays: a power of two of which the capacity is a whole
    /// number. It is the capacity itself where a read runs over the whole array.
    pub sequential_read_bytes: u32,
    /// Longest write cycle in microseconds; 0 where there is none (FRAM).
    pub write_cycle_us: u32,
}

impl Parameters {
    /// Nothing is stated yet but what most parts have: the device address 0x50, and no block-select bits. All else has no
    /// safe default: a geometry that leaves it out is refused, which for a constant means that it does not compile.
    ///
    /// ```compile_fail
    /// use pagewise_driver::{Geometry, Parameters};
    /// const PART: Geometry = Geometry::new(
    ///     Parameters::new().with_capacity_bytes(4096).with_page_bytes(32).with_word_address_bytes(2), // reads? write cycle?
    /// );
    /// ```
    pub const fn new() -> Self {
        Self {
            capacity_bytes: 0,
            page_bytes: 0,
            word_address_bytes: u8::MAX,
            device_address: 0x50,
            block_select_bits: 0,
            block_select_shift: 0,
            sequential_read_bytes: 0,
            write_cycle_us: UNSTATED_US,
        }
    }

    /// Sets the capacity in bytes.
    pub const fn with_capacity_bytes(mut self, capacity_bytes: u32) -> Self {
        self.capacity_bytes = capacity_bytes;
        self
    }

    /// Sets the page in bytes.
    pub const fn with_page_bytes(mut self, page_bytes: u32) -> Self {
        self.page_bytes = page_bytes;
        self
    }

    /// Sets the number of word-address bytes.
    pub const fn with_word_address_bytes(mut self, word_address_bytes: u8) -> Self {
        self.word_address_bytes = word_address_bytes;
        self
    }

    /// Sets the device address.
    pub const fn with_device_address(mut self, device_address: u8) -> Self {
        self.device_address = device_address;
        self
    }

    /// Sets the number of block-select bits.
    pub const fn with_block_select_bits(mut self, block_select_bits: u8) -> Self {
        self.block_select_bits = block_select_bits;
        self
    }

    /// Sets the position of the lowest block-select bit.
    pub const fn with_block_select_shift(mut self, block_select_shift: u8) -> Self {
        self.block_select_shift = block_select_shift;
        self
    }

    /// Sets the block inside which one sequential read stays, in bytes.
    pub const fn with_sequential_read_bytes(mut self, sequential_read_bytes: u32) -> Self {
        self.sequential_read_bytes = sequential_read_bytes;
        self
    }

    /// Sets the longest write cycle in microseconds.
    pub const fn with_write_cycle_us(mut self, write_cycle_us: u32) -> Self {
        self.write_cycle_us = write_cycle_us;
        self
    }
}

impl Default for Parameters {
    fn default() -> Self {
        Self::new()
    }
}

/// Longer than any write cycle: it was not stated.
const UNSTATED_US: u32 = u32::MAX;

/// The checked description of a part.
///
/// # Examples
///
/// A 32 kbit part (4096 bytes) with 32-byte pages and two word-address bytes; a bad one would not compile:
///
/// ```
/// use pagewise_driver::{Geometry, Parameters};
///
/// const PART: Geometry = Geometry::new(
///     Parameters::new()
///         .with_capacity_bytes(4096)
///         .with_page_bytes(32)
///         .with_word_address_bytes(2)
///         .with_sequential_read_bytes(4096)
///         .with_write_cycle_us(5_000),
/// );
/// assert_eq!(PART.capacity_bytes(), 4096);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Geometry {
    parameters: Parameters,
}

impl Geometry {
    /// Checks the parameters.
    ///
    /// With `n` word-address bytes and `b` block-select bits, `2^(8n + b)` bytes can be told apart.
    ///
    /// - `b = 0`: the capacity is at most `2^(8n)`. It may be less; the upper address bits are then don't care
    ///   (4096 bytes with two word-address bytes).
    /// - `b > 0`: every block-select bit must be needed: `2^(8n + b - 1) < capacity <= 2^(8n + b)`.
    /// - `n = 0`: the device address is the word address. The only shape is 128 bytes, `b = 7`, shift 0, device
    ///   address 0. Such a part is written with `write(offset, data)` and read with `read(offset)`.
    ///
    /// # Errors
    ///
    /// The first contradiction found, as a [`GeometryError`]. Besides the rules above: page and sequential-read block
    /// are powers of two that divide the capacity; a page fits the bytes that the word address alone can count
    /// through, unless it is the whole capacity; block-select bits lie inside the seven address bits and are zero in
    /// `device_address`.
    pub const fn try_new(parameters: Parameters) -> Result<Self, GeometryError> {
        if let Err(error) = check_sizes(&parameters) {
            return Err(error);
        }
        if let Err(error) = check_address(&parameters) {
            return Err(error);
        }
        Ok(Self { parameters })
    }

    /// Checks the parameters of a constant.
    ///
    /// # Panics
    ///
    /// If [`Geometry::try_new`] refuses them. In a `const` the panic is a compile error, which is what this function
    /// is for; for values that come at run time use `try_new`.
    ///
    /// ```compile_fail
    /// use pagewise_driver::{Geometry, Parameters};
    /// const PART: Geometry = Geometry::new(
    ///     Parameters::new()
    ///         .with_capacity_bytes(4096)
    ///         .with_page_bytes(33)
    ///         // not a power of two
    ///         .with_word_address_bytes(2)
    ///         .with_sequential_read_bytes(4096)
    ///         .with_write_cycle_us(5_000),
    /// );
    /// ```
    pub const fn new(parameters: Parameters) -> Self {
        match Self::try_new(parameters) {
            Ok(geometry) => geometry,
            Err(error) => panic!("{}", error.message()),
        }
    }

    /// The parameters that this geometry was made from.
    pub const fn parameters(&self) -> Parameters {
        self.parameters
    }

    /// Capacity in bytes, at least 1.
    pub const fn capacity_bytes(&self) -> u32 {
        self.parameters.capacity_bytes
    }

    /// Page in bytes, a power of two.
    pub const fn page_bytes(&self) -> u32 {
        self.parameters.page_bytes
    }

    /// Word-address bytes on the wire, 0 to 3.
    pub const fn word_address_bytes(&self) -> u8 {
        self.parameters.word_address_bytes
    }

    /// Device address of block 0, 7 bits, right-aligned.
    pub const fn device_address(&self) -> u8 {
        self.parameters.device_address
    }

    /// Word-address bits that ride in the device address, 0 to 7.
    pub const fn block_select_bits(&self) -> u8 {
        self.parameters.block_select_bits
    }

    /// Position of the lowest block-select bit in the 7-bit device address.
    pub const fn block_select_shift(&self) -> u8 {
        self.parameters.block_select_shift
    }

    /// Aligned block, in bytes, inside which a sequential read stays.
    pub const fn sequential_read_bytes(&self) -> u32 {
        self.parameters.sequential_read_bytes
    }

    /// Longest write cycle in microseconds, 0 where there is none.
    pub const fn write_cycle_us(&self) -> u32 {
        self.parameters.write_cycle_us
    }

    /// The same part at another device address (other straps).
    ///
    /// # Errors
    ///
    /// [`GeometryError::DeviceAddress`], [`GeometryError::BlockSelectCollision`] or
    /// [`GeometryError::ZeroByteShape`] if the address does not fit this part.
    pub const fn with_device_address(self, device_address: u8) -> Result<Self, GeometryError> {
        let mut parameters = self.parameters;
        parameters.device_address = device_address;
        Self::try_new(parameters)
    }

    /// The same array with another write cycle.
    pub(crate) fn with_write_cycle_us(self, write_cycle_us: u32) -> Self {
        Self { parameters: Parameters { write_cycle_us, ..self.parameters } }
    }

    /// Buffer size, in bytes, that holds the header and one full page: the `BUF` of the drivers.
    ///
    /// A smaller buffer is refused by each call that needs it, unless [`Options::with_split_pages`](crate::Options) asks for
    /// pages that are written in parts, each with a write cycle of its own. For a part without pages (FRAM) at most 256 data
    /// bytes are counted, since any buffer serves it.
    ///
    /// ```
    /// # use pagewise_driver::{Geometry, Parameters};
    /// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
    /// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
    /// assert_eq!(PART.buffer_bytes(), 2 + 32);
    /// ```
    pub const fn buffer_bytes(&self) -> usize {
        let page = self.parameters.page_bytes;
        let data = if page > 256 { 256 } else { page as usize };
        data.saturating_add(self.parameters.word_address_bytes as usize)
    }

    /// Whether `length` bytes from `offset` lie inside the part.
    ///
    /// Checked as `length <= capacity - offset`, so that no sum can overflow.
    pub const fn contains(&self, offset: u32, length: usize) -> bool {
        match self.parameters.capacity_bytes.checked_sub(offset) {
            Some(rest) => length as u64 <= rest as u64,
            None => false,
        }
    }
}

const fn check_sizes(p: &Parameters) -> Result<(), GeometryError> {
    let capacity_bytes = p.capacity_bytes;
    if capacity_bytes == 0 {
        return Err(GeometryError::CapacityZero);
    }
    if !divides(p.page_bytes, capacity_bytes) {
        return Err(GeometryError::Page { page_bytes: p.page_bytes, capacity_bytes });
    }
    if !divides(p.sequential_read_bytes, capacity_bytes) {
        let sequential_read_bytes = p.sequential_read_bytes;
        return Err(GeometryError::SequentialRead { sequential_read_bytes, capacity_bytes });
    }
    if p.write_cycle_us == UNSTATED_US {
        return Err(GeometryError::WriteCycleUnstated);
    }
    Ok(())
}

/// Whether `block` is a power of two of which `capacity` is a whole number.
const fn divides(block: u32, capacity: u32) -> bool {
    // For a power of two the remainder is a mask, which spares small cores the division.
    block.is_power_of_two() && block <= capacity && capacity & (block - 1) == 0
}

const fn check_address(p: &Parameters) -> Result<(), GeometryError> {
    if p.word_address_bytes > 3 {
        return Err(GeometryError::WordAddressBytes { found: p.word_address_bytes });
    }
    if p.device_address > 0x7F {
        return Err(GeometryError::DeviceAddress { found: p.device_address });
    }
    let (bits, shift) = (p.block_select_bits, p.block_select_shift);
    if bits > 7 || shift > 7 || bits + shift > 7 {
        return Err(GeometryError::BlockSelectRange { bits, shift });
    }
    let mask = block_mask(bits, shift);
    if p.word_address_bytes == 0 {
        let shape = p.capacity_bytes == 128 && bits == 7 && p.device_address == 0;
        let (capacity_bytes, device_address, block_select_bits) = (p.capacity_bytes, p.device_address, bits);
        let error = GeometryError::ZeroByteShape { capacity_bytes, device_address, block_select_bits };
        return if shape { Ok(()) } else { Err(error) };
    }
    if p.device_address & mask != 0 {
        return Err(GeometryError::BlockSelectCollision { device_address: p.device_address, mask });
    }
    check_reach(p)
}

/// At least one word-address byte; at most 8 * 3 + 7 = 31 bits, so the shifts below stay inside 32 bits.
const fn check_reach(p: &Parameters) -> Result<(), GeometryError> {
    let capacity_bytes = p.capacity_bytes;
    let block_bytes = 1u32 << (8 * p.word_address_bytes);
    let reach_bytes = block_bytes << p.block_select_bits;
    if capacity_bytes > reach_bytes {
        return Err(GeometryError::CapacityUnreachable { capacity_bytes, reach_bytes });
    }
    let reach_without_bytes = reach_bytes / 2;
    if p.block_select_bits > 0 && capacity_bytes <= reach_without_bytes {
        return Err(GeometryError::BlockSelectUnneeded { capacity_bytes, reach_without_bytes });
    }
    if p.page_bytes > block_bytes && p.page_bytes != capacity_bytes {
        return Err(GeometryError::PageBeyondBlock { page_bytes: p.page_bytes, block_bytes });
    }
    Ok(())
}

/// The bits of the 7-bit device address that carry block-select bits.
const fn block_mask(bits: u8, shift: u8) -> u8 {
    (((1u16 << bits) - 1) << shift) as u8 & 0x7F
}

//! What a simulated chip is made of: every axis on which two parts of one density differ.
//!
//! A [`ChipModel`] is plain data. It is computed from a part's card elsewhere, or written by hand in a test; with the
//! feature `serde` it can be stored and read back, which is how programs in other languages get their chips.
//! Units are in the names: bytes, nanoseconds (`_ns`), hertz (`_hz`), millivolts (`_mv`).

mod ac;
mod check;
mod examples;
mod region;
mod supply;

pub use ac::AcLimits;
pub use region::{Region, RegionAccess, RegionKind};
pub use supply::{BrownOut, CycleGrade, SpeedGrade, SupplyLimits, WriteCycle};

use alloc::string::String;
use alloc::vec::Vec;

/// The whole behaviour of one part, in one package.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChipModel {
    /// Name shown in traces and reports.
    pub name: String,
    /// EEPROM (page latch and write cycle) or FRAM (neither).
    pub memory: MemoryKind,
    /// Size of the array in bytes; a power of two from 16 to 2^24.
    pub capacity: u32,
    /// Bytes of the page latch, a power of two up to 65536. Ignored for FRAM.
    pub page: u32,
    /// Word-address bytes sent after the device address: 0 to 3.
    pub word_address_bytes: u8,
    /// What the chip makes of bits of the word address above its capacity.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "UpperBits::are_ignored"))]
    pub upper_bits: UpperBits,
    /// What the chip makes of each bit of the 7-bit device address, bit 6 first and bit 0 (next to R/W) last.
    pub device_bits: [DeviceBit; 7],
    /// How an unconnected A2, A1, A0 pin reads.
    pub open_strap: OpenPin,
    /// Duration and unit of the internal write cycle.
    pub write_cycle: WriteCycle,
    /// Which accesses the chip refuses during a write cycle.
    pub busy_answer: BusyAnswer,
    /// Write protection by pin.
    pub write_protect: WriteProtect,
    /// Where the address pointer stands after a page write.
    pub pointer_after_write: PointerAfterWrite,
    /// A sequential read wraps inside aligned blocks of this many bytes; equal to `capacity` for the whole array.
    pub read_wrap: u32,
    /// What becomes of the block-select bits of a device address with R/W = 1.
    pub read_block_bits: ReadBlockBits,
    /// What a START or STOP inside a data byte of a write does to the whole bytes before it.
    pub cut_byte: CutByte,
    /// Unit in which wear counts.
    pub wear_unit: WearUnit,
    /// Rated write cycles per wear unit.
    pub endurance_cycles: u64,
    /// Which bytes are in danger when the supply is lost inside a write cycle.
    pub torn_scope: TornScope,
    /// Supply limits.
    pub supply: SupplyLimits,
    /// Fastest SCL per supply range; at least one. Ranges may overlap, and the fastest counts; they may leave a hole, and
    /// there the slowest of all counts and is reported.
    pub speed: Vec<SpeedGrade>,
    /// Slowest SCL, where the part has a floor; 0 for none.
    pub min_scl_hz: u32,
    /// Bus time-out: SCL low for this long resets the bus logic; 0 for none.
    pub bus_timeout_ns: u64,
    /// Time from a valid supply to the first answer.
    pub power_up_ns: u64,
    /// Second regions: identification page, serial number, EUI, protection registers.
    pub regions: Vec<Region>,
}

/// The kind of memory behind the same bus protocol.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum MemoryKind {
    /// Page latch, write cycle, wear.
    Eeprom,
    /// Ferroelectric: every byte is stored as it arrives; no page, no write cycle.
    Fram,
}

/// Role of one bit of the 7-bit device address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum DeviceBit {
    /// Must have this value.
    Fixed(bool),
    /// Must equal the level of address pin A`n` (0, 1 or 2).
    Pin(u8),
    /// Must be the complement of the level of address pin A`n`.
    PinInverted(u8),
    /// Not looked at.
    Ignored,
    /// Block-select bit `n`: bit `8 * word_address_bytes + n` of the word address.
    Block(u8),
}

/// What the chip makes of bits of the word address above its capacity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum UpperBits {
    /// Not looked at: the array repeats.
    #[default]
    Ignored,
    /// Must be 0. Nothing is promised otherwise: here what is written is acknowledged and lost, and the pointer is drawn.
    Zero,
    /// The topmost bit of the first word-address byte makes a command of a write: bits 4 to 1 of that byte are the first
    /// sixteenth of the array, a data byte 10xx nnnn makes `n` sixteenths from there read-only, once and for good. Source:
    /// Microchip DS21073K (24LC65).
    SecurityCommand,
}

impl UpperBits {
    #[cfg(feature = "serde")]
    fn are_ignored(&self) -> bool {
        *self == Self::Ignored
    }
}

/// How an unconnected pin reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum OpenPin {
    /// A level drawn anew at each power-up.
    Random,
    /// Pulled down inside: low.
    PulledLow,
    /// Pulled up inside: high.
    PulledHigh,
}

/// What one write-cycle duration covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum CycleUnit {
    /// The whole page write.
    Page,
    /// Each latched byte.
    Byte,
}

/// Accesses refused (not acknowledged) while a write cycle runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum BusyAnswer {
    /// Any access to the chip's own address.
    AnyAccess,
    /// Only accesses with R/W = 0; a read is acknowledged and drives undefined data.
    WritesOnly,
    /// Only the control byte that started the write; another one is acknowledged and its bytes are undefined or lost.
    SameControlByte,
}

/// Write protection by the WP pin, or built in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WriteProtect {
    /// Bytes protected while the pin is active.
    pub pin_range: ByteRange,
    /// The pin protects when it is high (nearly every part) or low.
    pub active_high: bool,
    /// How an unconnected WP pin reads.
    pub open_pin: OpenPin,
    /// Bytes that are read-only whatever the pin says.
    pub fixed_range: ByteRange,
    /// When the pin is looked at.
    pub sampled: WpSampled,
    /// How a protected write is answered.
    pub answer: ProtectedAnswer,
    /// What a page write does that is protected only in part.
    pub partial: PartlyProtected,
}

/// A range of the array; empty when `len` is 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ByteRange {
    /// First byte.
    pub start: u32,
    /// Number of bytes.
    pub len: u32,
}

impl ByteRange {
    /// The range without any byte.
    pub const EMPTY: Self = Self { start: 0, len: 0 };

    /// Whether `offset` lies inside.
    #[must_use]
    pub const fn contains(self, offset: u32) -> bool {
        offset >= self.start && offset - self.start < self.len
    }
}

/// When the WP pin is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum WpSampled {
    /// At the STOP that would start the write cycle.
    Stop,
    /// From the last bit of the first data byte to STOP: active at any time in between cancels the write.
    DataPhase,
}

/// How a write to protected bytes is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum ProtectedAnswer {
    /// Data acknowledged, nothing stored, ready at once.
    AckReady,
    /// Data acknowledged, nothing stored, and the write time runs all the same.
    AckBusy,
    /// Data bytes not acknowledged, no write cycle.
    NackData,
}

/// What becomes of a page write that touches protected and unprotected bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum PartlyProtected {
    /// Nothing is stored.
    Nothing,
    /// Only the unprotected bytes are stored.
    UnprotectedOnly,
}

/// Where the address pointer stands after a page write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum PointerAfterWrite {
    /// It has wrapped inside the page.
    WrappedInPage,
    /// The address of the last byte, plus one.
    LastPlusOne,
}

/// What becomes of the block-select bits of a device address with R/W = 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum ReadBlockBits {
    /// The pointer's own upper bits count.
    Ignored,
    /// They replace the pointer's upper bits.
    Latched,
}

/// What a START or STOP inside a data byte of a write does to the whole bytes before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum CutByte {
    /// Nothing is written.
    DropsAll,
    /// A STOP writes the whole bytes that were acknowledged.
    KeepsWhole,
}

/// Unit in which wear counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum WearUnit {
    /// Each written byte by itself.
    Byte,
    /// Aligned groups of this many bytes (error correction).
    Group(u32),
    /// The whole page.
    Page,
}

/// Which bytes are in danger when the supply is lost inside a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TornScope {
    /// Only the bytes being programmed.
    Latched,
    /// The error-correction groups that hold them, of this many bytes.
    Group(u32),
    /// The whole page.
    Page,
}

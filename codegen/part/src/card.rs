//! A part is data: one card per part, every value with its basis.
//!
//! [`mod@file`] declares what may stand in a card file, [`load`] reads one and checks that it does not contradict itself,
//! [`assume`] holds the one table of values that stand in for what a sheet does not state, [`generic`] computes the most cautious card of a density,
//! [`geometry`] and [`model`] turn a card into a driver's geometry and into a simulated chip, two conversions that
//! share nothing on purpose.

pub mod assume;
pub mod catalogue;
pub mod draft;
pub mod file;
pub mod generic;
pub mod geometry;
pub mod grade;
pub mod load;
pub mod model;
pub mod order;
pub mod package;
pub mod region;
pub mod role;
pub mod sample;

use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::fact::Fact;
pub use catalogue::Catalogue;
pub use grade::{Ac, EndurancePoint, Grade, Limits, Temperatures};
pub use order::OrderPiece;
pub use package::{Footprint, Offer, Package, Packages, pin_in, signal};
pub use region::{Access, Region, RegionKind};
pub use role::Role;

/// A part's card, complete: what its sheet does not state is filled from the assumption table and says so.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Card {
    /// Identifier: the file's stem, lower case.
    pub id: String,
    /// Order code as printed.
    pub name: String,
    /// Maker as in the published document.
    pub maker: String,
    /// EEPROM or FRAM.
    pub kind: Kind,
    /// Published document behind every value that is not marked otherwise.
    pub document: String,
    /// Remarks from the document, in our words.
    pub notes: Option<String>,
    /// Other order codes that the card stands for.
    pub members: Vec<String>,
    /// Size of the array in bytes.
    pub capacity_bytes: Fact<u32>,
    /// Page in bytes; the whole array for a FRAM, which has none.
    pub page_bytes: Fact<u32>,
    /// Whether a page write that runs past its page wraps inside it; absent where the sheet read does not say.
    pub page_wrap: Option<Fact<bool>>,
    /// Contents as delivered, where stated.
    pub shipped_as: Option<Fact<Shipped>>,
    /// Word-address bytes sent after the device address.
    pub word_address_bytes: Fact<u8>,
    /// What the part makes of word-address bits above its capacity.
    pub upper_address_bits: Fact<UpperBits>,
    /// Role of each bit of the 7-bit device address, bit 6 first: the upper four.
    pub device_code: Fact<[Role; 4]>,
    /// Role of the lower three bits, bit 2 first.
    pub address_bits: Fact<[Role; 3]>,
    /// How an open address pin reads.
    pub open_strap: Fact<Open>,
    /// Longest write cycle in microseconds; 0 for a FRAM.
    pub write_cycle_max_us: Fact<u32>,
    /// Typical write cycle in microseconds.
    pub write_cycle_typ_us: Fact<u32>,
    /// What one write cycle covers.
    pub write_cycle_per: Fact<CyclePer>,
    /// Which accesses are refused inside a write cycle.
    pub busy_answer: Fact<Busy>,
    /// Pointer after a page write.
    pub pointer_after_write: Fact<Pointer>,
    /// A sequential read wraps inside aligned blocks of this many bytes.
    pub read_wrap_bytes: Fact<u32>,
    /// Block bits of a read's device address.
    pub read_block_bits: Fact<BlockBitsOnRead>,
    /// Wear unit.
    pub wear_unit: Fact<Wear>,
    /// Rated write cycles per wear unit.
    pub endurance_cycles: Fact<u64>,
    /// Rated write cycles per wear unit by temperature, coolest first; absent where the sheet read states none.
    pub endurance_at: Option<Fact<Vec<EndurancePoint>>>,
    /// Retention in years.
    pub retention_years: Fact<u32>,
    /// Better limits than the plain ones, in ranges of supply and temperature.
    pub grades: Fact<Vec<Limits>>,
    /// Capacitance of a bus pin in picofarad.
    pub input_capacitance_pf: Option<Fact<u32>>,
    /// Lowest supply in millivolts for reading.
    pub read_min_mv: Fact<u32>,
    /// Lowest supply in millivolts for writing.
    pub write_min_mv: Fact<u32>,
    /// What a dip of the supply costs, where the sheet says it: below so many millivolts the part is reset, and for so many
    /// microseconds it must stay there to start properly.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brown_out: Option<(u32, u32)>,
    /// Highest supply in millivolts.
    pub max_mv: Fact<u32>,
    /// Lowest operating temperature in degrees Celsius, whatever the grade.
    pub temperature_min_c: Fact<i32>,
    /// Highest operating temperature in degrees Celsius, whatever the grade.
    pub temperature_max_c: Fact<i32>,
    /// SCL rates by supply and temperature.
    pub speed: Fact<Vec<Grade>>,
    /// Slowest SCL in kHz; 0 for no floor.
    pub min_scl_khz: u32,
    /// Bus time-out in microseconds; 0 for none.
    pub bus_timeout_us: u32,
    /// Power good to first access in microseconds.
    pub power_up_us: Fact<u32>,
    /// What the WP pin protects.
    pub protect_range: Fact<Span>,
    /// What is read-only whatever the pin says.
    pub fixed_range: Fact<Span>,
    /// Whether there is a WP pin.
    pub wp_pin: bool,
    /// WP protects when high.
    pub wp_active_high: Fact<bool>,
    /// How an open WP pin reads.
    pub open_wp: Fact<Open>,
    /// When WP is looked at.
    pub wp_sampled: Fact<Sampled>,
    /// How a protected write is answered.
    pub protected_answer: Fact<Answer>,
    /// What happens to a partly protected page write.
    pub partly_protected: Fact<Partial>,
    /// Pins that must be tied to a level for the part to work: `(pin, high)`.
    pub required_straps: Vec<(u8, bool)>,
    /// Packages.
    pub packages: Arc<Packages>,
    /// What the pieces of its order code mean.
    pub order_pieces: Arc<Vec<OrderPiece>>,
    /// Where the card is of one order code: identifier of the part's card.
    pub order_of: Option<String>,
    /// Second regions.
    pub regions: Vec<Region>,
    /// Generic cards only: parts of this density on which the card is not safe, and why.
    pub not_safe_on: Vec<NotSafe>,
    /// Where samples were measured: the card without them, as far as anybody promises it.
    #[serde(skip)]
    pub unmeasured: Option<Box<Card>>,
}

/// A part on which a generic card must not be used.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct NotSafe {
    /// The part's card.
    pub id: String,
    /// What differs.
    pub why: String,
}

/// Kind of memory.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Page latch and write cycle.
    #[default]
    Eeprom,
    /// Neither.
    Fram,
}

/// How an open pin reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Open {
    /// Pulled down inside.
    Low,
    /// Pulled up inside.
    High,
    /// Anything.
    Random,
}

/// What one write cycle covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CyclePer {
    /// A page write.
    Page,
    /// Each byte of it.
    Byte,
}

/// Accesses refused inside a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Busy {
    /// Any.
    AnyAccess,
    /// Only writes.
    WritesOnly,
    /// Only the control byte that started it.
    SameControlByte,
}

/// Pointer after a page write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Pointer {
    /// Wrapped inside the page.
    WrappedInPage,
    /// Last byte plus one.
    LastPlusOne,
}

/// Block bits of a read's device address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BlockBitsOnRead {
    /// The pointer's own count.
    Ignored,
    /// They replace the pointer's.
    Latched,
}

/// Word-address bits above the capacity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum UpperBits {
    /// Not looked at: the array repeats.
    Ignored,
    /// Must be 0: nothing is promised otherwise.
    Zero,
    /// The topmost of them makes a command of a write, which cannot be undone.
    SecurityCommand,
}

/// Unit in which wear counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Wear {
    /// Byte.
    Byte,
    /// Group of four bytes, for error correction.
    #[serde(rename = "group-4")]
    Group4,
    /// Page.
    Page,
}

/// When WP is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Sampled {
    /// At STOP.
    Stop,
    /// From the first data byte to STOP.
    DataPhase,
}

/// How a protected write is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// Acknowledged, ready at once.
    AckReady,
    /// Acknowledged, busy for a write cycle.
    AckBusy,
    /// Data not acknowledged.
    NackData,
}

/// What happens to a partly protected page write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Partial {
    /// Nothing is stored.
    Nothing,
    /// The unprotected bytes are.
    UnprotectedOnly,
}

/// Contents as delivered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Shipped {
    /// All bytes 0xFF.
    Erased,
}

/// A part of the array, in words of the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Span {
    /// Nothing.
    None,
    /// The whole array.
    All,
    /// Upper half.
    UpperHalf,
    /// Lower half.
    LowerHalf,
    /// Upper quarter.
    UpperQuarter,
    /// Lower quarter.
    LowerQuarter,
    /// Upper eighth.
    UpperEighth,
}

impl Span {
    /// First byte and length in an array of `capacity` bytes.
    #[must_use]
    pub const fn bytes(self, capacity: u32) -> (u32, u32) {
        match self {
            Self::None => (0, 0),
            Self::All => (0, capacity),
            Self::UpperHalf => (capacity / 2, capacity / 2),
            Self::LowerHalf => (0, capacity / 2),
            Self::UpperQuarter => (capacity - capacity / 4, capacity / 4),
            Self::LowerQuarter => (0, capacity / 4),
            Self::UpperEighth => (capacity - capacity / 8, capacity / 8),
        }
    }
}

impl Card {
    /// Identifier of the part, in whatever package: of a card for one order code, that of the part's card.
    #[must_use]
    pub fn part_id(&self) -> &str {
        self.order_of.as_deref().unwrap_or(&self.id)
    }

    /// All seven device-address roles, bit 6 first.
    #[must_use]
    pub fn device_bits(&self) -> [Role; 7] {
        let [a, b, c, d] = self.device_code.value;
        let [e, f, g] = self.address_bits.value;
        [a, b, c, d, e, f, g]
    }

    /// Density in kilobits as the trade counts it: 32 for 4096 bytes. Fractions occur below 1 kbit.
    #[must_use]
    pub fn kilobits(&self) -> f64 {
        f64::from(self.capacity_bytes.value) * 8.0 / 1024.0
    }

    /// Both ways of saying a density: `32 kbit = 4096 bytes`.
    #[must_use]
    pub fn density(&self) -> String {
        density(self.capacity_bytes.value)
    }

    /// The block that the part reads out of a device address, or `None` when it does not answer.
    #[must_use]
    pub fn block_of(&self, address: u8, levels: [bool; 3]) -> Option<u32> {
        let mut block = 0;
        for (index, role) in self.device_bits().into_iter().enumerate() {
            let bit = address >> (6 - index) & 1 == 1;
            let fits = match role {
                Role::Fixed(level) => bit == level,
                Role::Pin(pin) => bit == levels[usize::from(pin)],
                Role::PinInverted(pin) => bit != levels[usize::from(pin)],
                Role::Ignored => true,
                Role::Block(n) => {
                    block |= u32::from(bit) << n;
                    true
                }
            };
            if !fits {
                return None;
            }
        }
        Some(block)
    }

    /// How many block-select bits ride in the device address.
    #[must_use]
    pub fn block_select_bits(&self) -> u8 {
        self.device_bits().iter().filter(|role| matches!(role, Role::Block(_))).count() as u8
    }

    /// Whether the card was computed for a density rather than written for a part.
    #[must_use]
    pub fn is_generic(&self) -> bool {
        self.id.starts_with(generic::PREFIX)
    }
}

/// Both ways of saying a density: `32 kbit = 4096 bytes`.
#[must_use]
pub fn density(bytes: u32) -> String {
    let bits = u64::from(bytes) * 8;
    match bits {
        0..1024 => format!("{bits} bit = {bytes} bytes"),
        1024..1_048_576 => format!("{} kbit = {bytes} bytes", bits / 1024),
        _ => format!("{} Mbit = {bytes} bytes", bits / 1_048_576),
    }
}

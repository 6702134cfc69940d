//! What may stand in a board file: the one declaration of its fields.

use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::Deserialize;

use super::{Strap, WriteShape};
use pagewise_base::form::Shape;
use pagewise_part::card::Footprint;

/// The shape of board files.
pub static SHAPE: LazyLock<Shape<BoardFile>> = LazyLock::new(Shape::new);

/// A board: the bus, the fitted part, the straps, what the firmware takes for granted, and what is kept where.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoardFile {
    /// Name of the board.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) name: String,
    /// Fitted part: identifier or order code of a card.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) fitted: String,
    /// Parts that are considered in its place; absent: every card.
    #[serde(default)]
    pub(super) candidates: Vec<String>,
    /// Footprint of the fitted part.
    pub(super) footprint: Footprint,
    /// Years that the board must last.
    #[schemars(range(min = 0.1, max = 100))]
    pub(super) years_of_life: f64,
    /// Units made per year.
    #[schemars(range(min = 0, max = 100_000_000))]
    pub(super) yearly_volume: Option<u32>,
    /// Coldest air at the part in degrees Celsius; absent: the lowest at which the fitted part works.
    #[schemars(range(min = -65, max = 150))]
    pub(super) temperature_min_c: Option<f64>,
    /// Hottest air at the part in degrees Celsius; absent: the highest at which the fitted part works.
    #[schemars(range(min = -65, max = 200))]
    pub(super) temperature_max_c: Option<f64>,
    /// Fields that nobody stated, by path, such as `bus.supply_v`: what stands there stands in for them, and a verdict that
    /// it matters to says so.
    #[serde(default)]
    pub(super) unstated: Vec<String>,
    /// Recordings of this board's bus, in the order of time, seen from the board file: what they show of the firmware stands
    /// in place of what is stated.
    #[serde(default)]
    #[schemars(inner(regex(pattern = r"\S")))]
    pub(super) recording: Vec<String>,
    /// The bus around the part.
    pub(super) bus: Bus,
    /// What the pins are tied to.
    pub(super) straps: Straps,
    /// What the firmware takes for granted.
    pub(super) firmware: Firmware,
    /// Regions of the array in use.
    pub(super) region: Vec<Region>,
    /// Second regions of the part that the firmware uses.
    #[serde(default)]
    pub(super) uses: Vec<SecondRegion>,
    /// Names of the regions that WP is there to protect, none of them in an empty list; absent: all that it protects on
    /// the fitted part.
    pub(super) protects: Option<Vec<String>>,
}

/// The bus around the part.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Bus {
    /// Supply in volts.
    #[schemars(range(min = 0.9, max = 6.5))]
    pub(super) supply_v: f64,
    /// SCL rate in kHz.
    #[schemars(range(min = 1, max = 5000))]
    pub(super) scl_khz: u32,
    /// Pull-up resistor on each line in ohms.
    #[schemars(range(min = 50, max = 1_000_000))]
    pub(super) pull_up_ohm: u32,
    /// Capacitance of each line in picofarads.
    #[schemars(range(min = 1, max = 10_000))]
    pub(super) capacitance_pf: u32,
    /// 7-bit addresses of the other devices on the bus.
    #[schemars(inner(range(min = 0, max = 127)))]
    #[serde(default)]
    pub(super) other_addresses: Vec<u8>,
}

/// What the pins are tied to.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Straps {
    /// A0.
    pub(super) a0: Strap,
    /// A1.
    pub(super) a1: Strap,
    /// A2.
    pub(super) a2: Strap,
    /// Write protect.
    pub(super) wp: Strap,
}

/// What the firmware takes for granted.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[schemars(extend("if" = { "properties": { "wait": { "const": "fixed" } } }, "then" = { "required": ["wait_ms"] }))]
pub(super) struct Firmware {
    /// 7-bit device address, block-select bits zero.
    #[schemars(range(min = 0, max = 127))]
    pub(super) device_address: u8,
    /// Word-address bytes that it sends.
    #[schemars(range(min = 0, max = 3))]
    pub(super) word_address_bytes: u8,
    /// Page at whose ends it cuts writes, in bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    pub(super) page_bytes: u32,
    /// How it waits for the write cycle.
    pub(super) wait: Wait,
    /// Limit of polling, or the length of a fixed wait, in milliseconds.
    #[schemars(range(min = 0, max = 1000))]
    pub(super) wait_ms: Option<f64>,
    /// Block-select bits that it puts into the device address.
    #[schemars(range(min = 0, max = 7))]
    pub(super) block_select_bits: Option<u8>,
    /// Place of the lowest of them; 0 is next to R/W.
    #[schemars(range(min = 0, max = 6))]
    pub(super) block_select_shift: Option<u8>,
    /// Longest transfer in bytes, header included.
    #[schemars(range(min = 1, max = 1_048_576))]
    pub(super) max_transfer_bytes: Option<u32>,
    /// How a write reaches the bus.
    pub(super) write_shape: Option<WriteShape>,
    /// Block at whose ends it cuts sequential reads, in bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    pub(super) read_cut_bytes: Option<u32>,
    /// Whether it reads on from the pointer after a write.
    pub(super) reads_on_after_write: Option<bool>,
    /// Microseconds from power good to its first access.
    #[schemars(range(min = 0, max = 10_000_000))]
    pub(super) first_access_us: Option<u32>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Wait {
    Poll,
    PollByRead,
    Fixed,
}

/// A region of the array in use.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Region {
    /// Name, unique.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) name: String,
    /// First byte.
    #[schemars(range(min = 0, max = 16_777_215))]
    pub(super) offset: u32,
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_215))]
    pub(super) length: u32,
    /// Writes of the whole region per day at run time.
    #[schemars(range(min = 0, max = 10_000_000))]
    pub(super) writes_per_day: Option<f64>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum SecondRegion {
    SerialNumber,
    IdentificationPage,
    #[serde(rename = "eui-48")]
    Eui48,
    #[serde(rename = "eui-64")]
    Eui64,
    PermanentProtection,
    PageProtection,
}

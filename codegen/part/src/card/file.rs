//! What may stand in a card file: the one declaration of its fields.
//!
//! Reading, faults, JSON Schema and the draft of a new card come from here. [`super::load`] turns a file into a
//! [`super::Card`], with a row of [`super::assume`] for what the file leaves open.

mod limits;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::Deserialize;

use super::{
    Access, Answer, BlockBitsOnRead, Busy, Footprint, Kind, Open, OrderPiece, Partial, Pointer, RegionKind, Sampled,
    Shipped, Span, UpperBits, Wear,
};
pub(super) use limits::{EnduranceAt, GradeFile, Speed, Supply, Temperature, WriteCycle};
use pagewise_base::form::Shape;

/// The shape of card files.
pub static SHAPE: LazyLock<Shape<CardFile>> = LazyLock::new(Shape::new);

/// Roles of four bits of the device address, and of three.
const FOUR_BITS: &str = r"^\s*([01x]|/?A[0-2]|B[0-6])(\s+([01x]|/?A[0-2]|B[0-6])){3}\s*$";
const THREE_BITS: &str = r"^\s*([01x]|/?A[0-2]|B[0-6])(\s+([01x]|/?A[0-2]|B[0-6])){2}\s*$";
/// Roles of three bits in a package, as far as they were read.
const THREE_BITS_READ: &str = r"^\s*([01x?]|/?A[0-2]|B[0-6])(\s+([01x?]|/?A[0-2]|B[0-6])){2}\s*$";

/// A part's card: every value comes from `document`, unless it is listed in `derived` or `basis`. What the sheet does
/// not state is left out.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
#[schemars(extend(
    "if" = { "properties": { "kind": { "const": "fram" } } },
    "then" = { "properties": { "page_bytes": false, "write_cycle": { "properties": { "per": false } } } }
))]
pub struct CardFile {
    /// Identifier: lower-case letters, digits and hyphens.
    #[schemars(regex(pattern = r"^[a-z0-9-]+$"))]
    pub(super) id: String,
    /// Order code as printed.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) name: String,
    /// Maker as in the document.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) maker: String,
    /// Kind of memory.
    pub(super) kind: Kind,
    /// Published document, with its date.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) document: String,
    /// Published documents behind temperatures, packages and order codes, where those are others.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) ordering_document: Option<String>,
    /// Fields that follow from other stated values.
    #[serde(default)]
    pub(super) derived: Vec<String>,
    /// Fields that come from somewhere else than `document`, with what stands behind them.
    #[serde(default)]
    pub(super) basis: Vec<Behind>,
    /// Remarks.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) notes: Option<String>,
    /// Other order codes that the card stands for.
    #[serde(default)]
    pub(super) members: Vec<String>,
    /// Bits of the array, a power of two.
    #[schemars(range(min = 128, max = 134_217_728), example = 32_768)]
    pub(super) capacity_bits: u32,
    /// Page in bytes, a power of two; not for a FRAM. Absent where it was not read.
    #[schemars(range(min = 1, max = 16_777_216), example = 32)]
    pub(super) page_bytes: Option<u32>,
    /// Word-address bytes that follow the device address.
    #[schemars(range(min = 0, max = 3))]
    pub(super) word_address_bytes: Option<u8>,
    /// Roles of bits 6 to 3 of the device address: 0, 1, A0 to A2, /A0 to /A2, x, B0 to B6.
    #[schemars(regex(pattern = FOUR_BITS), example = &"1 0 1 0")]
    pub(super) device_code: Option<String>,
    /// What the part makes of word-address bits above its capacity.
    pub(super) upper_address_bits: Option<UpperBits>,
    /// Roles of bits 2 to 0; `?` for a role that was not read.
    #[schemars(regex(pattern = THREE_BITS_READ), example = &"A2 A1 A0")]
    pub(super) address_bits: Option<String>,
    /// How an open address pin reads.
    pub(super) open_strap: Option<Open>,
    /// Write cycle.
    #[serde(default)]
    pub(super) write_cycle: WriteCycle,
    /// Which accesses are refused inside a write cycle.
    pub(super) busy_answer: Option<Busy>,
    /// Pointer after a page write.
    pub(super) pointer_after_write: Option<Pointer>,
    /// Aligned block in bytes inside which a sequential read stays, a power of two.
    #[schemars(range(min = 1, max = 16_777_216))]
    pub(super) read_wrap_bytes: Option<u32>,
    /// Block bits of a read's device address.
    pub(super) read_block_bits: Option<BlockBitsOnRead>,
    /// Unit in which wear counts.
    pub(super) wear_unit: Option<Wear>,
    /// Rated write cycles per wear unit.
    #[schemars(range(min = 1, max = 1_000_000_000_000_000_u64))]
    pub(super) endurance_cycles: Option<u64>,
    /// Temperature in degrees Celsius at which `endurance_cycles` are rated.
    #[schemars(range(min = -55, max = 150))]
    pub(super) endurance_at_c: Option<f64>,
    /// Rated write cycles at other temperatures.
    #[serde(default)]
    pub(super) endurance_at: Vec<EnduranceAt>,
    /// Whether a page write wraps inside its page.
    pub(super) page_wrap: Option<bool>,
    /// Contents as delivered.
    pub(super) shipped_as: Option<Shipped>,
    /// Retention in years.
    #[schemars(range(min = 1, max = 1000))]
    pub(super) retention_years: Option<u32>,
    /// Capacitance of a bus pin in picofarad.
    #[schemars(range(min = 1, max = 100))]
    pub(super) input_capacitance_pf: Option<u32>,
    /// Supply range.
    #[serde(default)]
    pub(super) supply: Supply,
    /// Fastest SCL by range of supply and temperature.
    #[serde(default)]
    pub(super) speed: Vec<Speed>,
    /// Better limits than the plain ones, by range of supply and temperature.
    #[serde(default)]
    pub(super) grade: Vec<GradeFile>,
    /// Slowest SCL in kHz.
    #[schemars(range(min = 1, max = 100))]
    pub(super) min_scl_khz: Option<u32>,
    /// Bus time-out in milliseconds.
    #[schemars(range(min = 1, max = 1000))]
    pub(super) bus_timeout_ms: Option<f64>,
    /// Power good to first access in microseconds.
    #[schemars(range(min = 0, max = 1_000_000))]
    pub(super) power_up_us: Option<u32>,
    /// Temperatures at which every grade of the part works.
    #[serde(default)]
    pub(super) temperature: Temperature,
    /// Write protection.
    #[serde(default)]
    pub(super) write_protect: WriteProtect,
    /// Pins that must be tied for the part to work.
    #[serde(default)]
    pub(super) required_straps: RequiredStraps,
    /// The packages that it is made in.
    #[serde(default)]
    pub(super) packages: Packages,
    /// Packages of which more was read.
    #[serde(default)]
    pub(super) package: Vec<Package>,
    /// What the pieces of its order code mean.
    #[serde(default)]
    pub(super) order_code: Vec<OrderPiece>,
    /// Second regions.
    #[serde(default)]
    pub(super) region: Vec<Region>,
}

/// What stands behind some fields.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Behind {
    /// How they are known.
    pub(super) is: Known,
    /// The fields.
    pub(super) fields: Vec<String>,
    /// The document, recording, samples or reason.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) source: String,
}

/// How a value is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Known {
    /// Stated in another document.
    Published,
    /// Follows from values in another document.
    Derived,
    /// Seen in a recording of a real bus.
    Observed,
    /// Measured on samples.
    Measured,
    /// Nobody stated it.
    Assumed,
}

/// Write protection.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct WriteProtect {
    /// What the WP pin protects.
    pub(super) range: Option<Span>,
    /// What is read-only whatever the pin says.
    pub(super) fixed: Option<Span>,
    /// Level at which WP protects.
    pub(super) active: Option<Level>,
    /// How an open WP pin reads.
    pub(super) open_pin: Option<Open>,
    /// When WP is looked at.
    pub(super) sampled: Option<Sampled>,
    /// How a protected write is answered.
    pub(super) answer: Option<Answer>,
    /// What happens to a partly protected page write.
    pub(super) partial: Option<Partial>,
}

/// Pins that must be tied.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RequiredStraps {
    /// A0.
    pub(super) a0: Option<Rail>,
    /// A1.
    pub(super) a1: Option<Rail>,
    /// A2.
    pub(super) a2: Option<Rail>,
}

/// The packages that the part is made in.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct Packages {
    /// Every package that was read.
    pub(super) made: Vec<Footprint>,
    /// Whether that list was read as the complete one.
    #[serde(default)]
    pub(super) complete: bool,
}

/// A package of which more was read than that it is made.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Package {
    /// Its name.
    pub(super) name: Footprint,
    /// Signal of each pin or ball, as the sheet words it. Absent: the usual order in the usual 8-lead packages, else not
    /// read.
    pub(super) pins: Option<BTreeMap<String, String>>,
    /// Roles of bits 2 to 0 of the device address in it; `?` for a role that was not read. Absent: as elsewhere in the usual
    /// 8-lead packages, else not read.
    #[schemars(regex(pattern = THREE_BITS_READ), example = &"0 0 ?")]
    pub(super) address_bits: Option<String>,
    /// Whether it has a WP pin. Absent: as its pins say.
    pub(super) wp_pin: Option<bool>,
    /// Remark.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) note: Option<String>,
}

/// Level of a signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Level {
    /// Near the supply.
    High,
    /// Near ground.
    Low,
}

/// What a pin must be tied to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Rail {
    /// Ground.
    Gnd,
    /// Supply.
    Vcc,
}

/// A second region.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Region {
    /// What it is.
    pub(super) kind: RegionKind,
    /// Roles of bits 6 to 3 of its device address; goes with `address_bits`.
    #[schemars(regex(pattern = FOUR_BITS), example = &"1 0 1 0")]
    pub(super) device_code: Option<String>,
    /// Roles of bits 2 to 0.
    #[schemars(regex(pattern = THREE_BITS), example = &"A2 A1 A0")]
    pub(super) address_bits: Option<String>,
    /// Whether its address was read; `false`: the sheet read names the region and not its place.
    pub(super) address_read: Option<bool>,
    /// First word address.
    #[schemars(range(min = 0, max = 16_777_215))]
    pub(super) word_address: Option<u32>,
    /// Word-address bits that are compared.
    #[schemars(range(min = 0, max = 16_777_215))]
    pub(super) address_mask: Option<u32>,
    /// Word-address bytes sent for it.
    #[schemars(range(min = 0, max = 3))]
    pub(super) word_address_bytes: Option<u8>,
    /// Size in bytes.
    #[schemars(range(min = 0, max = 65_536))]
    pub(super) length: Option<u32>,
    /// Who may write.
    pub(super) access: Option<Access>,
    /// Array range that a protection register protects.
    pub(super) protects: Option<Span>,
    /// First bytes that are the same in every part (maker's and device code).
    #[schemars(length(max = 16))]
    pub(super) contents: Option<Vec<u8>>,
    /// Reading rolls over after this many bytes, aligned; those beyond the regions there read as 0. Absent: each region
    /// rolls over at its own end.
    #[schemars(range(min = 1, max = 65_536))]
    pub(super) rolls_after: Option<u32>,
    /// It is read from the address pointer of the array, so that each access to one moves the other.
    pub(super) shares_pointer: Option<bool>,
    /// Remark.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) note: Option<String>,
}

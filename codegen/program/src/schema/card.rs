//! The shape of a card.

mod words;

use schemars::JsonSchema;
use serde::Deserialize;

use words::{Access, Answer, BlockBits, Busy, Kind, Level, Open, Partial, Per, Pointer, Rail, RegionKind, Sampled};
use words::{Shipped, Span, Wear};

/// Roles of four bits of the device address, and of three.
const FOUR_BITS: &str = r"^\s*([01x]|/?A[0-2]|B[0-6])(\s+([01x]|/?A[0-2]|B[0-6])){3}\s*$";
const THREE_BITS: &str = r"^\s*([01x]|/?A[0-2]|B[0-6])(\s+([01x]|/?A[0-2]|B[0-6])){2}\s*$";

/// A part's card: every value comes from `document`, unless it is listed in `derived`. What the sheet does not state is
/// left out.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[schemars(extend(
    "if" = { "properties": { "kind": { "const": "eeprom" } } },
    "then" = { "required": ["page_bytes"] },
    "else" = { "properties": { "page_bytes": false, "write_cycle": { "properties": { "per": false } } } }
))]
#[allow(dead_code, reason = "the fields describe a file that `card::load` reads")]
pub(super) struct Card {
    /// Identifier: lower-case letters, digits and hyphens.
    #[schemars(regex(pattern = r"^[a-z0-9-]+$"))]
    id: String,
    /// Order code as printed.
    #[schemars(regex(pattern = r"\S"))]
    name: String,
    /// Maker as in the document.
    #[schemars(regex(pattern = r"\S"))]
    maker: String,
    /// Kind of memory.
    kind: Kind,
    /// Published document, with its date.
    #[schemars(regex(pattern = r"\S"))]
    document: String,
    /// Fields that follow from other stated values.
    derived: Option<Vec<String>>,
    /// Remarks.
    #[schemars(regex(pattern = r"\S"))]
    notes: Option<String>,
    /// Other order codes that the card stands for.
    members: Option<Vec<String>>,
    /// Bits of the array, a power of two.
    #[schemars(range(min = 128, max = 134_217_728))]
    capacity_bits: u32,
    /// Page in bytes, a power of two; not for a FRAM.
    #[schemars(range(min = 1, max = 16_777_216))]
    page_bytes: Option<u32>,
    /// Word-address bytes that follow the device address.
    #[schemars(range(min = 0, max = 3))]
    word_address_bytes: Option<u8>,
    /// Roles of bits 6 to 3 of the device address: 0, 1, A0 to A2, /A0 to /A2, x, B0 to B6.
    #[schemars(regex(pattern = FOUR_BITS))]
    device_code: Option<String>,
    /// Roles of bits 2 to 0.
    #[schemars(regex(pattern = THREE_BITS))]
    address_bits: Option<String>,
    /// How an open address pin reads.
    open_strap: Option<Open>,
    /// Write cycle.
    write_cycle: Option<WriteCycle>,
    /// Which accesses are refused inside a write cycle.
    busy_answer: Option<Busy>,
    /// Pointer after a page write.
    pointer_after_write: Option<Pointer>,
    /// Aligned block in bytes inside which a sequential read stays, a power of two.
    #[schemars(range(min = 1, max = 16_777_216))]
    read_wrap_bytes: Option<u32>,
    /// Block bits of a read's device address.
    read_block_bits: Option<BlockBits>,
    /// Unit in which wear counts.
    wear_unit: Option<Wear>,
    /// Rated write cycles per wear unit.
    #[schemars(range(min = 1, max = 1_000_000_000_000_000_i64))]
    endurance_cycles: Option<i64>,
    /// Temperature in degrees Celsius at which `endurance_cycles` are rated.
    #[schemars(range(min = -55, max = 150))]
    endurance_at_c: Option<f64>,
    /// Rated write cycles at other temperatures.
    endurance_at: Option<Vec<EnduranceAt>>,
    /// Whether a page write wraps inside its page.
    page_wrap: Option<bool>,
    /// Contents as delivered.
    shipped_as: Option<Shipped>,
    /// Retention in years.
    #[schemars(range(min = 1, max = 1000))]
    retention_years: Option<u32>,
    /// Capacitance of a bus pin in picofarad.
    #[schemars(range(min = 1, max = 100))]
    input_capacitance_pf: Option<u32>,
    /// Supply range.
    supply: Option<Supply>,
    /// Fastest SCL by supply range.
    speed: Option<Vec<Speed>>,
    /// Slowest SCL in kHz.
    #[schemars(range(min = 1, max = 100))]
    min_scl_khz: Option<u32>,
    /// Bus time-out in milliseconds.
    #[schemars(range(min = 1, max = 1000))]
    bus_timeout_ms: Option<f64>,
    /// Power good to first access in microseconds.
    #[schemars(range(min = 0, max = 1_000_000))]
    power_up_us: Option<u32>,
    /// Write protection.
    write_protect: Option<WriteProtect>,
    /// Pins that must be tied for the part to work.
    required_straps: Option<RequiredStraps>,
    /// Packages that differ from the 8-lead one.
    package: Option<Vec<Package>>,
    /// Second regions.
    region: Option<Vec<Region>>,
}

/// Write cycle.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct WriteCycle {
    /// Longest, in milliseconds; 0 for a FRAM.
    #[schemars(range(min = 0, max = 100))]
    max_ms: Option<f64>,
    /// Typical, in milliseconds.
    #[schemars(range(min = 0, max = 100))]
    typ_ms: Option<f64>,
    /// What one write cycle covers.
    per: Option<Per>,
}

/// Rated write cycles at a temperature.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct EnduranceAt {
    /// Temperature in degrees Celsius.
    #[schemars(range(min = -55, max = 150))]
    celsius: f64,
    /// Write cycles.
    #[schemars(range(min = 1, max = 1_000_000_000_000_000_i64))]
    cycles: i64,
}

/// Supply range in volts.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Supply {
    /// Lowest for reading.
    #[schemars(range(min = 0.5, max = 7))]
    min_v: Option<f64>,
    /// Highest.
    #[schemars(range(min = 0.5, max = 7))]
    max_v: Option<f64>,
    /// Lowest for writing.
    #[schemars(range(min = 0.5, max = 7))]
    write_min_v: Option<f64>,
}

/// Fastest SCL in one supply range.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Speed {
    /// Lower end in volts.
    #[schemars(range(min = 0.5, max = 7))]
    min_v: Option<f64>,
    /// Upper end in volts.
    #[schemars(range(min = 0.5, max = 7))]
    max_v: Option<f64>,
    /// Fastest SCL in kHz.
    #[schemars(range(min = 1, max = 5000))]
    scl_khz: u32,
    /// AC limits.
    ac: Option<Ac>,
}

/// AC limits in nanoseconds.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Ac {
    /// SCL low, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_low: Option<u32>,
    /// SCL high, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_high: Option<u32>,
    /// START hold, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_hd_sta: Option<u32>,
    /// Repeated START set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_su_sta: Option<u32>,
    /// Data hold, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_hd_dat: Option<u32>,
    /// Data set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_su_dat: Option<u32>,
    /// STOP set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_su_sto: Option<u32>,
    /// Bus free, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    t_buf: Option<u32>,
    /// SCL low to data valid, maximum.
    #[schemars(range(min = 0, max = 100_000))]
    t_aa_max: Option<u32>,
    /// Spike filter, maximum.
    #[schemars(range(min = 0, max = 100_000))]
    t_sp_max: Option<u32>,
}

/// Write protection.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct WriteProtect {
    /// What the WP pin protects.
    range: Option<Span>,
    /// What is read-only whatever the pin says.
    fixed: Option<Span>,
    /// Level at which WP protects.
    active: Option<Level>,
    /// How an open WP pin reads.
    open_pin: Option<Open>,
    /// When WP is looked at.
    sampled: Option<Sampled>,
    /// How a protected write is answered.
    answer: Option<Answer>,
    /// What happens to a partly protected page write.
    partial: Option<Partial>,
}

/// Pins that must be tied.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct RequiredStraps {
    /// A0.
    a0: Option<Rail>,
    /// A1.
    a1: Option<Rail>,
    /// A2.
    a2: Option<Rail>,
}

/// A package that differs from the 8-lead one.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Package {
    /// Name as the sheet words it.
    #[schemars(regex(pattern = r"\S"))]
    name: String,
    /// Roles of bits 2 to 0 of the device address.
    #[schemars(regex(pattern = THREE_BITS))]
    address_bits: Option<String>,
    /// Whether it has a WP pin.
    wp_pin: Option<bool>,
    /// Remark.
    #[schemars(regex(pattern = r"\S"))]
    note: Option<String>,
}

/// A second region.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Region {
    /// What it is.
    kind: RegionKind,
    /// Roles of bits 6 to 3 of its device address; goes with `address_bits`.
    #[schemars(regex(pattern = FOUR_BITS))]
    device_code: Option<String>,
    /// Roles of bits 2 to 0.
    #[schemars(regex(pattern = THREE_BITS))]
    address_bits: Option<String>,
    /// First word address.
    #[schemars(range(min = 0, max = 16_777_215))]
    word_address: Option<u32>,
    /// Word-address bits that are compared.
    #[schemars(range(min = 0, max = 16_777_215))]
    address_mask: Option<u32>,
    /// Word-address bytes sent for it.
    #[schemars(range(min = 0, max = 3))]
    word_address_bytes: Option<u8>,
    /// Size in bytes.
    #[schemars(range(min = 0, max = 65_536))]
    length: Option<u32>,
    /// Who may write.
    access: Option<Access>,
    /// Array range that a protection register protects.
    protects: Option<Span>,
    /// Remark.
    #[schemars(regex(pattern = r"\S"))]
    note: Option<String>,
}

//! The shape of a board file.

use schemars::JsonSchema;
use serde::Deserialize;

/// A board: the bus, the fitted part, the straps, what the firmware takes for granted, and what is kept where.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "the fields describe a file that `board` reads")]
pub(super) struct Board {
    /// Name of the board.
    #[schemars(regex(pattern = r"\S"))]
    name: String,
    /// Fitted part: identifier or order code of a card.
    #[schemars(regex(pattern = r"\S"))]
    fitted: String,
    /// Parts that are considered in its place; absent: every card.
    candidates: Option<Vec<String>>,
    /// Footprint of the fitted part.
    footprint: Footprint,
    /// Years that the board must last.
    #[schemars(range(min = 0.1, max = 100))]
    years_of_life: f64,
    /// Units made per year.
    #[schemars(range(min = 0, max = 100_000_000))]
    yearly_volume: Option<u32>,
    /// Hottest air at the part in degrees Celsius.
    #[schemars(range(min = -55, max = 150))]
    temperature_c: Option<f64>,
    /// The bus around the part.
    bus: Bus,
    /// What the pins are tied to.
    straps: Straps,
    /// What the firmware takes for granted.
    firmware: Firmware,
    /// Regions of the array in use.
    region: Vec<Region>,
    /// Second regions of the part that the firmware uses.
    uses: Option<Vec<SecondRegion>>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Footprint {
    #[serde(rename = "soic-8")]
    Soic8,
    #[serde(rename = "soic-8-wide")]
    Soic8Wide,
    #[serde(rename = "tssop-8")]
    Tssop8,
    #[serde(rename = "dip-8")]
    Dip8,
    #[serde(rename = "msop-8")]
    Msop8,
    #[serde(rename = "dfn-8")]
    Dfn8,
    #[serde(rename = "sot-23-5")]
    Sot235,
    #[serde(rename = "sot-23-6")]
    Sot236,
    Wlcsp,
}

/// The bus around the part.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Bus {
    /// Supply in volts.
    #[schemars(range(min = 0.9, max = 6.5))]
    supply_v: f64,
    /// SCL rate in kHz.
    #[schemars(range(min = 1, max = 5000))]
    scl_khz: u32,
    /// Pull-up resistor on each line in ohms.
    #[schemars(range(min = 50, max = 1_000_000))]
    pull_up_ohm: u32,
    /// Capacitance of each line in picofarads.
    #[schemars(range(min = 1, max = 10_000))]
    capacitance_pf: u32,
    /// 7-bit addresses of the other devices on the bus.
    #[schemars(inner(range(min = 0, max = 127)))]
    other_addresses: Option<Vec<u8>>,
}

/// What the pins are tied to.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Straps {
    /// A0.
    a0: Strap,
    /// A1.
    a1: Strap,
    /// A2.
    a2: Strap,
    /// Write protect.
    wp: Strap,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Strap {
    Gnd,
    Vcc,
    Gpio,
    Open,
}

/// What the firmware takes for granted.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[schemars(extend("if" = { "properties": { "wait": { "const": "fixed" } } }, "then" = { "required": ["wait_ms"] }))]
#[allow(dead_code, reason = "as above")]
struct Firmware {
    /// 7-bit device address, block-select bits zero.
    #[schemars(range(min = 0, max = 127))]
    device_address: u8,
    /// Word-address bytes that it sends.
    #[schemars(range(min = 0, max = 3))]
    word_address_bytes: u8,
    /// Page at whose ends it cuts writes, in bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    page_bytes: u32,
    /// How it waits for the write cycle.
    wait: Wait,
    /// Limit of polling, or the length of a fixed wait, in milliseconds.
    #[schemars(range(min = 0, max = 1000))]
    wait_ms: Option<f64>,
    /// Block-select bits that it puts into the device address.
    #[schemars(range(min = 0, max = 7))]
    block_select_bits: Option<u8>,
    /// Place of the lowest of them; 0 is next to R/W.
    #[schemars(range(min = 0, max = 6))]
    block_select_shift: Option<u8>,
    /// Longest transfer in bytes, header included.
    #[schemars(range(min = 1, max = 1_048_576))]
    max_transfer_bytes: Option<u32>,
    /// How a write reaches the bus.
    write_shape: Option<WriteShape>,
    /// Block at whose ends it cuts sequential reads, in bytes.
    #[schemars(range(min = 1, max = 16_777_216))]
    read_cut_bytes: Option<u32>,
    /// Whether it reads on from the pointer after a write.
    reads_on_after_write: Option<bool>,
    /// Microseconds from power good to its first access.
    #[schemars(range(min = 0, max = 10_000_000))]
    first_access_us: Option<u32>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Wait {
    Poll,
    PollByRead,
    Fixed,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum WriteShape {
    OneBuffer,
    TwoJoined,
    TwoRestarted,
}

/// A region of the array in use.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
struct Region {
    /// Name, unique.
    #[schemars(regex(pattern = r"\S"))]
    name: String,
    /// First byte.
    #[schemars(range(min = 0, max = 16_777_215))]
    offset: u32,
    /// Bytes.
    #[schemars(range(min = 1, max = 16_777_215))]
    length: u32,
    /// Writes of the whole region per day at run time.
    #[schemars(range(min = 0, max = 10_000_000))]
    writes_per_day: Option<f64>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum SecondRegion {
    SerialNumber,
    IdentificationPage,
    #[serde(rename = "eui-48")]
    Eui48,
    #[serde(rename = "eui-64")]
    Eui64,
}

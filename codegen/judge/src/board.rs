//! Board files: the bus, the fitted part, the straps, what the firmware assumes, and what is kept where.

mod cell;
pub mod file;
mod parse;
pub mod sheet;
mod stand_in;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use pagewise_base::form::word;
use pagewise_part::card::{Card, Footprint, Open, RegionKind, Role};

pub use parse::{parse, read};

/// One board, as its file describes it.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Board {
    /// File as the user named it.
    pub file: String,
    /// Name of the board.
    pub name: String,
    /// Fitted part: identifier or order code of a card.
    pub fitted: String,
    /// Parts that are considered in its place; empty when every card is.
    pub candidates: Vec<String>,
    /// Footprint of the fitted part.
    pub footprint: Footprint,
    /// Years that the board must last.
    pub years: f64,
    /// Coldest air at the part in degrees Celsius, where known.
    pub temperature_min_c: Option<f64>,
    /// Hottest air at the part in degrees Celsius, where known.
    pub temperature_max_c: Option<f64>,
    /// Units made per year, where known.
    pub yearly_volume: Option<u32>,
    /// Fields that nobody stated, by path.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unstated: Vec<String>,
    /// Recordings of its bus, seen from its file.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub recording: Vec<String>,
    /// Supply, speed, pull-ups and neighbours.
    pub bus: Bus,
    /// Levels of A0, A1, A2 (index = pin number).
    pub straps: [Strap; 3],
    /// Level of WP.
    pub wp: Strap,
    /// What the firmware assumes.
    pub firmware: Firmware,
    /// Regions of the array in use, in file order.
    pub regions: Vec<Region>,
    /// Second regions of the part that the firmware uses.
    pub uses: Vec<RegionKind>,
    /// Names of the regions that WP is there to protect; absent: all that it protects on the fitted part.
    pub protects: Option<Vec<String>>,
}

/// The bus around the part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Bus {
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in kHz.
    pub scl_khz: u32,
    /// Pull-up resistor on each line in ohms.
    pub pull_up_ohm: u32,
    /// Capacitance of each line in picofarads.
    pub capacitance_pf: u32,
    /// 7-bit addresses of the other devices on the bus.
    pub other_addresses: Vec<u8>,
}

/// What a pin is tied to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(extend("x-spellings" = {
    "none": "open", "nc": "open", "floating": "open", "ground": "gnd", "vss": "gnd", "low": "gnd", "0": "gnd",
    "supply": "vcc", "vdd": "vcc", "high": "vcc", "1": "vcc", "driven": "gpio"
}))]
pub enum Strap {
    /// Ground.
    Gnd,
    /// Supply.
    Vcc,
    /// A pin of the controller, driven by the firmware as needed.
    Gpio,
    /// Nothing; also a pin that the part does not have in this package (`none`).
    Open,
}

impl Strap {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        word::name(&self)
    }
}

/// What the firmware takes for granted.
#[derive(Debug, Clone, PartialEq, Eq, Hash, JsonSchema, Serialize)]
pub struct Firmware {
    /// 7-bit device address, block-select bits zero.
    pub device_address: u8,
    /// Word-address bytes that it sends.
    pub word_address_bytes: u8,
    /// Block-select bits that it puts into the device address.
    pub block_select_bits: u8,
    /// Place of the lowest of them; 0 is next to R/W.
    pub block_select_shift: u8,
    /// Page at whose ends it cuts writes, in bytes; 1 for byte writes, the largest region for none.
    pub page_bytes: u32,
    /// How it waits for the write cycle.
    pub wait: Wait,
    /// Longest transfer in bytes, header included; absent for no limit.
    pub max_transfer_bytes: Option<u32>,
    /// How a write reaches the bus.
    pub write_shape: WriteShape,
    /// Block at whose ends it cuts sequential reads, in bytes; absent when it never cuts them.
    pub read_cut_bytes: Option<u32>,
    /// Whether it reads on from the pointer after a write, without sending an address.
    pub reads_on_after_write: bool,
    /// Microseconds from power good to its first access; absent when unknown.
    pub first_access_us: Option<u32>,
}

/// How the firmware waits for a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, JsonSchema, Serialize)]
#[serde(tag = "policy", rename_all = "kebab-case")]
pub enum Wait {
    /// Acknowledge polling with a header-only write, up to a limit in microseconds.
    Poll {
        /// Longest time that it polls.
        limit_us: u32,
    },
    /// Acknowledge polling with a read of one byte, up to a limit in microseconds.
    PollByRead {
        /// Longest time that it polls.
        limit_us: u32,
    },
    /// A fixed delay in microseconds.
    Fixed {
        /// The delay.
        us: u32,
    },
}

/// How a page write reaches the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WriteShape {
    /// Header and data in one write.
    OneBuffer,
    /// Header and data as two writes of one transaction that the bus layer joins.
    TwoJoined,
    /// The same on a bus layer that sends a repeated START between them.
    TwoRestarted,
}

/// A region of the array in use.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Region {
    /// Name.
    pub name: String,
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
    /// Writes of the whole region per day at run time; 0 when only the production line writes it.
    pub writes_per_day: f64,
}

impl Board {
    /// One past the last byte in use.
    #[must_use]
    pub fn used_bytes(&self) -> u32 {
        self.regions.iter().map(|region| region.offset + region.length).max().unwrap_or(0)
    }

    /// Whether anybody relies on WP for the byte at an offset, if WP protects it.
    #[must_use]
    pub fn relies_on_wp_at(&self, offset: u32) -> bool {
        let Some(names) = &self.protects else { return true };
        let inside = |region: &Region| (region.offset..region.offset + region.length).contains(&offset);
        self.regions.iter().any(|region| inside(region) && names.contains(&region.name))
    }

    /// Levels of the address pins, `[A0, A1, A2]`, as far as the board fixes them: open pins count as low, pins of
    /// the controller as whatever the firmware's device address asks for.
    #[must_use]
    pub fn pin_levels(&self) -> [bool; 3] {
        [0, 1, 2].map(|pin| match self.straps[pin] {
            Strap::Gnd | Strap::Open => false,
            Strap::Vcc => true,
            Strap::Gpio => self.firmware.device_address >> pin & 1 == 1,
        })
    }

    /// Levels of the address pins as a part sees them: an open pin reads as its pull says, low where there is none; one of
    /// the controller has the level with which the part answers the firmware's device address.
    #[must_use]
    pub fn levels_for(&self, part: &Card) -> [bool; 3] {
        let mut levels = self.pin_levels();
        for (pin, strap) in self.straps.iter().enumerate() {
            match strap {
                Strap::Open => levels[pin] = part.open_strap.value == Open::High,
                Strap::Gpio => {
                    for (bit, role) in part.device_bits().into_iter().rev().enumerate() {
                        let high = self.firmware.device_address >> bit & 1 == 1;
                        match role {
                            Role::Pin(compared) if usize::from(compared) == pin => levels[pin] = high,
                            Role::PinInverted(compared) if usize::from(compared) == pin => levels[pin] = !high,
                            _ => {}
                        }
                    }
                }
                Strap::Gnd | Strap::Vcc => {}
            }
        }
        levels
    }
}

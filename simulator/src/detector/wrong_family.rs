//! wrong-family: a part of another bus sits where an I2C EEPROM is expected.

use alloc::format;
use alloc::string::String;

/// Families whose markings look alike and that never answer on I2C. FRAM for the I2C bus is not among them: it answers,
/// and stores at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum OtherFamily {
    /// "25": flash or EEPROM for SPI.
    Spi25,
    /// "23": serial SRAM, volatile.
    Sram23,
    /// "93": three-wire EEPROM.
    ThreeWire93,
}

impl OtherFamily {
    /// Digits in the marking and what they stand for.
    #[must_use]
    pub const fn what(self) -> &'static str {
        match self {
            Self::Spi25 => "25-series part (SPI)",
            Self::Sram23 => "23-series part (serial SRAM)",
            Self::ThreeWire93 => "93-series part (three-wire)",
        }
    }
}

pub(crate) fn text(address: u8, family: OtherFamily) -> String {
    format!("device address 0x{address:02X} stays silent: a {} sits there", family.what())
}

//! The ways these parts lose data, by name.

use core::fmt;
use core::str::FromStr;

macro_rules! hazards {
    ($($variant:ident $name:literal $what:literal),+ $(,)?) => {
        /// A way to lose data. The names are Pagewise's own; the words in them are the trade's.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        pub enum Hazard {
            $(#[doc = $what] $variant,)+
        }

        impl Hazard {
            /// Every hazard, in the order of the design.
            pub const ALL: [Self; [$($name),+].len()] = [$(Self::$variant),+];

            /// The name, as printed everywhere: `page-wrap`.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name),+ }
            }

            /// One sentence on what goes wrong.
            #[must_use]
            pub const fn what(self) -> &'static str {
                match self { $(Self::$variant => $what),+ }
            }
        }
    };
}

hazards! {
    PageWrap "page-wrap" "a write that runs past the end of a page lands at the start of the same page",
    AddressWidth "address-width" "the firmware sends another number of word-address bytes than the part expects",
    BlockAlias "block-alias" "the firmware's block-select bits are ignored by the part, so blocks fall on each other",
    CapacityAlias "capacity-alias" "an offset beyond the part is taken without its upper bits and hits another place",
    ReadRollover "read-rollover" "a sequential read crosses a block or the end and goes on somewhere else",
    BusyAccess "busy-access" "an access inside the write cycle is refused and the program takes it for done or for an error",
    RestartAbort "restart-abort" "a repeated START between header and data drops what was latched",
    WriteProtect "write-protect" "a write to protected bytes is not stored, acknowledged or not",
    TornWrite "torn-write" "the supply is lost inside the write cycle and the page is neither old nor new",
    WearOut "wear-out" "a location, its page or its error-correction group passes its rated write cycles",
    AddressConflict "address-conflict" "two devices answer the same device address",
    FloatingPin "floating-pin" "an address strap or WP is left open and reads as whatever it likes",
    Overclock "overclock" "SCL runs faster than the part's grade at this supply",
    Undervoltage "undervoltage" "the supply is below what the part needs to read or to write",
    Overvoltage "overvoltage" "the supply is above the part's maximum, where nothing is promised",
    BusTiming "bus-timing" "set-up, hold or rise time, or the pull-up, is outside what the part or the bus allows",
    WrongFamily "wrong-family" "a part of another family (SPI, SRAM, FRAM, three-wire) is taken for an I2C EEPROM",
    MisplacedWrite "misplaced-write" "the firmware sends another word address than it means, or never sends the write",
    StuckBus "stuck-bus" "the controller was reset in mid-read and the part holds SDA low",
}

impl fmt::Display for Hazard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// The text is not the name of a hazard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnknownHazard;

impl fmt::Display for UnknownHazard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not the name of a hazard")
    }
}

impl core::error::Error for UnknownHazard {}

impl FromStr for Hazard {
    type Err = UnknownHazard;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|hazard| hazard.name() == text).ok_or(UnknownHazard)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::format;
    use alloc::string::ToString;

    #[test]
    fn a_name_is_read_back_as_what_it_names_and_pads() {
        for hazard in Hazard::ALL {
            assert_eq!(hazard.to_string().parse(), Ok(hazard));
            assert!(hazard.what().len() > 20, "{hazard}");
        }
        assert_eq!(format!("[{:<10}]", Hazard::PageWrap), "[page-wrap ]");
        let unknown = "page wrap".parse::<Hazard>().unwrap_err();
        assert_eq!(unknown.to_string(), "not the name of a hazard");
    }
}

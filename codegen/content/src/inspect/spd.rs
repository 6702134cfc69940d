//! Serial presence detect of memory modules.
//!
//! Sources: `tests/data/standards.toml`, section `spd`. The CRC of DDR3 is checked against a published dump. That byte 2
//! tells the kind of memory is seen in that dump for DDR3; the other kinds and the ranges of DDR4 are recalled, not
//! read, and findings that rest on them say so.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, found};
use crate::image::checksum::Checksum;

/// Kind of memory on a module.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Memory {
    /// DDR.
    Ddr,
    /// DDR2.
    Ddr2,
    /// DDR3.
    Ddr3,
    /// DDR4.
    Ddr4,
}

/// What an SPD says.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Spd {
    /// Kind of memory.
    pub memory: Memory,
    /// First and last byte that the checksum covers.
    pub covers: [u16; 2],
    /// The checksum as stored.
    pub stored: u16,
    /// The checksum that fits the bytes.
    pub computed: u16,
    /// Whether the rule is recalled rather than read in a source.
    pub from_memory: bool,
}

/// An SPD at the start of a dump, when its checksum is right.
///
/// Without a right checksum nothing tells an SPD from other data.
pub(super) fn find(dump: &[u8]) -> Option<Found> {
    let spd = read(dump)?;
    if spd.stored != spd.computed {
        return None;
    }
    let (name, sure) = match spd.memory {
        Memory::Ddr3 => ("DDR3", Certainty::Certain),
        Memory::Ddr4 => ("DDR4", Certainty::Likely),
        Memory::Ddr2 => ("DDR2", Certainty::Possible),
        Memory::Ddr => ("DDR", Certainty::Possible),
    };
    let [first, last] = spd.covers;
    let check = if spd.memory == Memory::Ddr3 || spd.memory == Memory::Ddr4 { "CRC-16" } else { "checksum" };
    let mut because =
        format!("byte 2 tells {name}, {check} of bytes {first} to {last} is {:#06x} as stored", spd.stored);
    if spd.from_memory {
        because += " (rule recalled, not read in a source)";
    }
    let length = match spd.memory {
        Memory::Ddr4 => 512,
        _ => 256,
    };
    Some(found(Content::Spd(spd), 0, length.min(dump.len()), sure, because))
}

/// Reads the SPD at the beginning of `bytes`; `None` where byte 2 tells no known kind, or bytes are missing.
#[must_use]
pub fn read(bytes: &[u8]) -> Option<Spd> {
    let base = bytes.first_chunk::<128>()?;
    let word = u16::from_le_bytes([base[126], base[127]]);
    let crc = |last: u16| Checksum::find("CRC-16/XMODEM").map(|crc| crc.of(&base[..=usize::from(last)]) as u16);
    match base[2] {
        0x0B => {
            let last = if base[0] & 0x80 == 0 { 125 } else { 116 };
            let computed = crc(last)?;
            Some(Spd { memory: Memory::Ddr3, covers: [0, last], stored: word, computed, from_memory: false })
        }
        0x0C => {
            let computed = crc(125)?;
            Some(Spd { memory: Memory::Ddr4, covers: [0, 125], stored: word, computed, from_memory: true })
        }
        kind @ (0x07 | 0x08) => {
            let memory = if kind == 0x07 { Memory::Ddr } else { Memory::Ddr2 };
            let sum = base[..63].iter().fold(0u8, |sum, byte| sum.wrapping_add(*byte));
            let (stored, computed) = (base[63].into(), sum.into());
            Some(Spd { memory, covers: [0, 62], stored, computed, from_memory: true })
        }
        _ => None,
    }
}

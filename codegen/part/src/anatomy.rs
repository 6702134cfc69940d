//! The anatomy of an address: which bits go where on the wire, for one part, one strapping and one offset.
//!
//! Computed from the card's roles alone, not through the driver: what a person reads here can be held against what
//! the driver sends.
//!
//! # Examples
//!
//! ```
//! use pagewise_part::anatomy::Anatomy;
//! use pagewise_part::card::Catalogue;
//!
//! let catalogue = Catalogue::embedded()?;
//! let card = catalogue.find("24LC16B").ok_or("no such card")?;
//! let anatomy = Anatomy::of(card, [false; 3], 0x5A3)?;
//! // Device address 0x55 with R/W = 0: the upper offset bits ride in it. Then the word address.
//! assert_eq!(anatomy.header(), [0xAA, 0xA3]);
//! assert_eq!(anatomy.room_in_page, Some(13));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod draw;

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use crate::card::geometry::PinLevels;
use crate::card::{Card, Kind, RegionKind, Role, UpperBits, density};

/// One bit of a byte on the wire.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Bit {
    /// What it is for: `0`, `1`, `A2`, `/A1`, `B0` (block-select bit), `a11` (word-address bit), `x` (don't care),
    /// `W` or `R`.
    pub role: String,
    /// Its level for this offset and strapping; don't-care bits are sent as 0.
    pub high: bool,
}

/// One byte on the wire, most significant bit first.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct WireByte {
    /// Its value.
    pub value: u8,
    /// Its bits.
    pub bits: Vec<Bit>,
}

impl WireByte {
    fn of(bits: Vec<Bit>) -> Self {
        let value = bits.iter().fold(0, |value, bit| value << 1 | u8::from(bit.high));
        Self { value, bits }
    }
}

/// How one offset of a part is addressed.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Anatomy {
    /// The offset in bytes.
    pub offset: u32,
    /// First offset of its page.
    pub page_first: u32,
    /// Last offset of its page.
    pub page_last: u32,
    /// Bytes from the offset to the end of its page: a longer write wraps to `page_first`. Absent for a FRAM.
    pub room_in_page: Option<u32>,
    /// Bytes from the offset to where one sequential read wraps.
    pub room_in_read: u32,
    /// Bank that must be selected by a command first; absent where the part has no banks.
    pub bank: Option<u32>,
    /// Device address with R/W = 0.
    pub device_write: WireByte,
    /// Word-address bytes, in the order on the wire.
    pub word_address: Vec<WireByte>,
    /// Device address with R/W = 1, as it follows the repeated START of a random read.
    pub device_read: WireByte,
    /// Longest write cycle in microseconds.
    pub write_cycle_us: u32,
}

/// The offset lies outside the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BeyondPart {
    /// The offset.
    pub offset: u32,
    /// Size of the part in bytes.
    pub capacity_bytes: u32,
}

impl fmt::Display for BeyondPart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let last = self.capacity_bytes.saturating_sub(1);
        write!(f, "{:#x} lies outside the part ({}, offsets 0 to {last:#x})", self.offset, density(self.capacity_bytes))
    }
}

impl std::error::Error for BeyondPart {}

impl Anatomy {
    /// The anatomy of `offset` in `card` with its address pins at `pins`.
    ///
    /// # Errors
    /// The offset lies outside the part.
    pub fn of(card: &Card, pins: PinLevels, offset: u32) -> Result<Self, BeyondPart> {
        let capacity = card.capacity_bytes.value;
        if offset >= capacity {
            return Err(BeyondPart { offset, capacity_bytes: capacity });
        }
        let reach = card.reachable_bytes();
        let banked = card.regions.iter().any(|region| region.kind == RegionKind::BankSelect);
        let (page, wrap) = (card.page_bytes.value, card.read_wrap_bytes.value.min(reach));
        let page_first = offset - offset % page;
        let last_of = |block: u32| block - 1 - offset % block;
        Ok(Self {
            offset,
            page_first,
            page_last: page_first + (page - 1),
            room_in_page: (card.kind == Kind::Eeprom).then(|| last_of(page) + 1),
            room_in_read: last_of(wrap) + 1,
            bank: banked.then_some(offset / reach),
            device_write: device_byte(card, pins, offset, false),
            word_address: word_bytes(card, offset % reach, reach),
            device_read: device_byte(card, pins, offset, true),
            write_cycle_us: card.longest_write_us(),
        })
    }

    /// The bytes that a write or a random read begins with.
    #[must_use]
    pub fn header(&self) -> Vec<u8> {
        std::iter::once(&self.device_write).chain(&self.word_address).map(|byte| byte.value).collect()
    }
}

fn device_byte(card: &Card, pins: PinLevels, offset: u32, read: bool) -> WireByte {
    let first_block_bit = 8 * u32::from(card.word_address_bytes.value);
    let mut bits: Vec<Bit> = Vec::new();
    for role in card.device_bits() {
        let high = match role {
            Role::Fixed(level) => level,
            Role::Pin(pin) => pins[usize::from(pin)],
            Role::PinInverted(pin) => !pins[usize::from(pin)],
            Role::Ignored => false,
            Role::Block(bit) => offset >> (first_block_bit + u32::from(bit)) & 1 == 1,
        };
        bits.push(Bit { role: role.to_string(), high });
    }
    bits.push(Bit { role: if read { "R" } else { "W" }.into(), high: read });
    WireByte::of(bits)
}

fn word_bytes(card: &Card, word: u32, reach: u32) -> Vec<WireByte> {
    let used = reach.trailing_zeros();
    let count = u32::from(card.word_address_bytes.value);
    let bit = |place: u32| {
        let used = place < used;
        let above = if card.upper_address_bits.value == UpperBits::Ignored { "x" } else { "0" };
        let role = if used { format!("a{place}") } else { above.into() };
        Bit { role, high: used && word >> place & 1 == 1 }
    };
    (0..count).rev().map(|byte| WireByte::of((0..8).rev().map(|n| bit(8 * byte + n)).collect())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::load;

    fn card(fields: &str) -> Card {
        let text = format!(
            "id = \"x\"\nname = \"X\"\nmaker = \"M\"\nkind = \"eeprom\"\ndocument = \"D\"\ndevice_code = \"1 0 1 0\"\n{fields}"
        );
        load::card("x.toml", &text).unwrap()
    }

    #[test]
    fn block_select_bits_carry_the_upper_offset_bits() {
        let card = card("capacity_bits = 16384\npage_bytes = 16\nword_address_bytes = 1\naddress_bits = \"B2 B1 B0\"");
        let anatomy = Anatomy::of(&card, [false; 3], 0x5A3).unwrap();
        assert_eq!(anatomy.header(), [0xAA, 0xA3]);
        assert_eq!(anatomy.device_read.value, 0xAB);
        assert_eq!((anatomy.page_first, anatomy.page_last, anatomy.room_in_page), (0x5A0, 0x5AF, Some(13)));
        assert!(anatomy.word_address[0].bits.iter().all(|bit| bit.role != "x"));
    }

    #[test]
    fn bits_above_the_capacity_are_dont_care_and_sent_as_zero() {
        let card = card("capacity_bits = 32768\npage_bytes = 32\nword_address_bytes = 2\naddress_bits = \"A2 A1 A0\"");
        let anatomy = Anatomy::of(&card, [true, false, true], 0xFFF).unwrap();
        assert_eq!(anatomy.header(), [0xAA, 0x0F, 0xFF]);
        let roles: Vec<&str> = anatomy.word_address[0].bits.iter().map(|bit| bit.role.as_str()).collect();
        assert_eq!(roles, ["x", "x", "x", "x", "a11", "a10", "a9", "a8"]);
        assert_eq!(anatomy.room_in_page, Some(1));
    }

    #[test]
    fn an_offset_outside_the_part_is_refused() {
        let card = card("capacity_bits = 1024\npage_bytes = 8\naddress_bits = \"A2 A1 A0\"");
        let error = Anatomy::of(&card, [false; 3], 128).unwrap_err();
        assert_eq!(error.to_string(), "0x80 lies outside the part (1 kbit = 128 bytes, offsets 0 to 0x7f)");
    }
}

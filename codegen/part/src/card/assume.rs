//! The one table of assumptions: what stands in for a value that the sheet read does not state.
//!
//! Each row is the worst value met in published parts, so that a driver or a verdict built on it errs on the safe
//! side. Every finding that rests on a row says so. A fact of a card is made from a stated value or from a row
//! ([`super::load`]), so that a value without a row does not compile.

use super::role::Role;
use super::{Answer, BlockBitsOnRead, Busy, CyclePer, Open, Partial, Pointer, Sampled, Span, UpperBits, Wear};
use crate::fact::{Basis, Fact};

/// One assumption.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row<T> {
    /// Field path of the card that it fills.
    pub field: &'static str,
    /// The value; where it follows from other values, how.
    pub value: T,
    /// Why this is the cautious one.
    pub why: &'static str,
}

impl<T> Row<T> {
    /// A value assumed for the reason of this row.
    #[must_use]
    pub fn with<U>(&self, value: U) -> Fact<U> {
        Fact { value, basis: Basis::Assumed { why: self.why.into() } }
    }
}

impl<T: Clone> Row<T> {
    /// The assumed value.
    #[must_use]
    pub fn fact(&self) -> Fact<T> {
        self.with(self.value.clone())
    }
}

/// Writes the rows, and the list of their fields and reasons, which could otherwise leave one out.
macro_rules! rows {
    ($($(#[doc = $about:literal])+ $name:ident: $kind:ty = $field:literal, $value:expr, $why:literal;)+) => {
        $($(#[doc = $about])+ pub const $name: Row<$kind> = Row { field: $field, value: $value, why: $why };)+

        /// Field and reason of every row.
        pub const REASONS: &[(&str, &str)] = &[$(($field, $why)),+];
    };
}

rows! {
    /// Page in bytes, by the capacity in bytes.
    PAGE_BYTES: fn(u32) -> u32 = "page_bytes", smallest_page,
        "the smallest pages met are 1 byte below 1 kbit, 2 up to 2 kbit, 8 up to 64 kbit, 32 at 128 kbit, 64 above";
    /// What the part makes of word-address bits above its capacity.
    UPPER_ADDRESS_BITS: UpperBits = "upper_address_bits", UpperBits::Ignored,
        "don't care in almost every published part; software that sends them as 0 is safe on all";
    /// Word-address bytes, by the capacity in bytes.
    WORD_ADDRESS_BYTES: fn(u32) -> u8 = "word_address_bytes", |capacity| if capacity <= 2048 { 1 } else { 2 },
        "one word-address byte up to 16 kbit and two above in almost every published part; a published one of 16 kbit takes two";
    /// Roles of bits 6 to 3 of the device address.
    DEVICE_CODE: [Role; 4] = "device_code",
        [Role::Fixed(true), Role::Fixed(false), Role::Fixed(true), Role::Fixed(false)],
        "1010 in almost every published part; a pin-compatible twin has 0010";
    /// Roles of bits 2 to 0, by the block-select bits that must ride there.
    ADDRESS_BITS: fn(u8) -> [Role; 3] = "address_bits", address_bits,
        "pins are compared, except where block-select bits must ride, lowest next to R/W; some parts ignore pins";
    /// How an open address pin reads.
    OPEN_STRAP: Open = "open_strap", Open::Random, "an address pin without a stated pull reads as anything";
    /// Longest write cycle in microseconds.
    WRITE_CYCLE_MAX_US: u32 = "write_cycle.max_ms", 15_000,
        "the longest write cycle met in published parts is 15 ms";
    /// What one write cycle covers.
    WRITE_CYCLE_PER: CyclePer = "write_cycle.per", CyclePer::Page,
        "one cycle per page write in all published parts but one";
    /// Which accesses are refused inside a write cycle.
    BUSY_ANSWER: Busy = "busy_answer", Busy::SameControlByte,
        "the weakest promise met: no ACK only for the control byte that started the write";
    /// Pointer after a page write.
    POINTER_AFTER_WRITE: Pointer = "pointer_after_write", Pointer::WrappedInPage,
        "published parts differ; software that never relies on the pointer after a write is safe on both";
    /// Block of a sequential read in bytes, by capacity in bytes and word-address bytes.
    READ_WRAP_BYTES: fn(u32, u8) -> u32 = "read_wrap_bytes",
        |capacity, bytes| capacity.min(if bytes <= 1 { 256 } else { 32_768 }),
        "the shortest sequential reads met stay in a 256-byte block (one address byte) or a 32 KB half (two)";
    /// Block bits of a read's device address.
    READ_BLOCK_BITS: BlockBitsOnRead = "read_block_bits", BlockBitsOnRead::Ignored,
        "EEPROMs read ignore them on a current-address read";
    /// Unit in which wear counts.
    WEAR_UNIT: Wear = "wear_unit", Wear::Page, "the coarsest wear unit met is the page";
    /// Rated write cycles.
    ENDURANCE_CYCLES: u64 = "endurance_cycles", 10_000, "the lowest rating met is 10 000 cycles";
    /// Retention in years.
    RETENTION_YEARS: u32 = "retention_years", 10, "the shortest retention met is 10 years";
    /// Lowest supply in millivolts.
    SUPPLY_MIN_MV: u32 = "supply.min_v", 4500, "the highest lower limit met is 4.5 V";
    /// Highest supply in millivolts.
    SUPPLY_MAX_MV: u32 = "supply.max_v", 3600, "the lowest upper limit met is 3.6 V";
    /// Lowest operating temperature in degrees Celsius.
    TEMPERATURE_MIN_C: i32 = "temperature.min_c", 0, "the warmest lower limit met is that of commercial grades, 0 C";
    /// Highest operating temperature in degrees Celsius.
    TEMPERATURE_MAX_C: i32 = "temperature.max_c", 70, "the lowest upper limit met is that of commercial grades, 70 C";
    /// Fastest SCL in kHz.
    SCL_KHZ: u32 = "speed", 100, "the slowest grade met is 100 kHz";
    /// What the WP pin protects.
    PROTECT_RANGE: Span = "write_protect.range", Span::All,
        "a WP pin that is tied active would forbid every write; ranges differ between parts";
    /// What is read-only whatever the pin says.
    FIXED_RANGE: Span = "write_protect.fixed", Span::None,
        "few published parts have a range that no pin opens, and each of their sheets states it";
    /// Whether WP protects when high.
    WP_ACTIVE_HIGH: bool = "write_protect.active", true, "high in every published part with a WP pin";
    /// How an open WP pin reads.
    OPEN_WP: Open = "write_protect.open_pin", Open::Random, "a WP pin without a stated pull reads as anything";
    /// When WP is looked at.
    WP_SAMPLED: Sampled = "write_protect.sampled", Sampled::DataPhase,
        "the longest time that WP must be stable: from the first data byte to STOP";
    /// How a protected write is answered.
    PROTECTED_ANSWER: Answer = "write_protect.answer", Answer::AckBusy,
        "the most deceptive answer met: data acknowledged, nothing stored, write time to be waited out";
    /// What happens to a partly protected page write.
    PARTLY_PROTECTED: Partial = "write_protect.partial", Partial::Nothing,
        "no sheet read promises that part of a page is kept";
    /// Power good to first access in microseconds.
    POWER_UP_US: u32 = "power_up_us", 5000, "the longest time met from power good to the first write is 5 ms";
    /// Where a region lies whose address was not read.
    REGION_ADDRESS: () = "region[].address_read", (),
        "parts of one family answer for their regions at other device addresses";
    /// Word address of a serial number at a device address of its own.
    REGION_WORD_ADDRESS: u32 = "region[].word_address", 0x80,
        "parts of the family that publish it take 80h there, and share the pointer of the array";
    /// Over which supply a rate is promised that stands without one.
    GRADE_SUPPLY: u32 = "speed[].min_v", 100,
        "a rate is promised over a supply range, which was not read; the slowest grade met is 100 kHz";
    /// Of which temperature grade a part is that is named without its order code.
    GRADE_ORDERED: () = "order_code[].min_c", (),
        "a part that is named without its grade may be of the narrowest one";
    /// Whether a part is made in a package of which its card says nothing, with the pins and the address of the others.
    PACKAGE_MADE: bool = "packages.made", false,
        "no part is made in every package, and in a small one its pins and its device address often differ";
}

fn smallest_page(capacity: u32) -> u32 {
    match capacity {
        0..=127 => 1,
        128..=256 => 2,
        257..=8192 => 8,
        8193..=16_384 => 32,
        _ => 64,
    }
}

/// Pins compared, except for the block-select bits that must ride in the lowest places.
fn address_bits(block_bits: u8) -> [Role; 3] {
    [2, 1, 0].map(|place| if place < block_bits { Role::Block(place) } else { Role::Pin(place) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::file;

    #[test]
    fn every_row_has_a_reason_and_fills_a_field_of_its_own() {
        let fields = file::SHAPE.fields();
        for (index, (field, why)) in REASONS.iter().enumerate() {
            assert!(!why.is_empty(), "{field}");
            assert!(REASONS[..index].iter().all(|(earlier, _)| earlier != field), "{field} twice");
            assert!(fields.iter().any(|known| known.path == *field), "{field}");
        }
    }
}

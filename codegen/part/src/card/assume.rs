//! The one table of assumptions: what stands in for a value that the sheet read does not state.
//!
//! Each row is the worst value met in published parts, so that a driver or a verdict built on it errs on the safe
//! side. Every finding that rests on a row says so. Values are written as a card would write them.

use crate::fact::{Basis, Fact};

/// One assumption.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Field path of the card that it fills.
    pub field: &'static str,
    /// The value, as a card would write it.
    pub value: &'static str,
    /// Why this is the cautious one.
    pub why: &'static str,
}

/// Every assumption of the program.
pub const TABLE: &[Row] = &[
    Row {
        field: "word_address_bytes",
        value: "1 or 2",
        why: "one word-address byte up to 16 kbit and two above in every published part with pages (common practice)",
    },
    Row { field: "device_code", value: "1 0 1 0", why: "1010 in almost every published part" },
    Row {
        field: "address_bits",
        value: "A2 A1 A0",
        why: "pins are compared, except where block-select bits must ride, lowest next to R/W; some parts ignore pins",
    },
    Row { field: "open_strap", value: "random", why: "an address pin without a stated pull reads as anything" },
    Row { field: "write_cycle.max_ms", value: "15", why: "the longest write cycle met in published parts is 15 ms" },
    Row { field: "write_cycle.per", value: "page", why: "one cycle per page write in all published parts but one" },
    Row {
        field: "busy_answer",
        value: "same-control-byte",
        why: "the weakest promise met: no ACK only for the control byte that started the write",
    },
    Row {
        field: "pointer_after_write",
        value: "wrapped-in-page",
        why: "published parts differ; software that never relies on the pointer after a write is safe on both",
    },
    Row {
        field: "read_wrap_bytes",
        value: "256 or 32768",
        why: "the shortest sequential reads met stay in a 256-byte block (one address byte) or a 32 KB half (two)",
    },
    Row { field: "read_block_bits", value: "ignored", why: "EEPROMs read ignore them on a current-address read" },
    Row { field: "wear_unit", value: "page", why: "the coarsest wear unit met is the page" },
    Row { field: "endurance_cycles", value: "10000", why: "the lowest rating met is 10 000 cycles" },
    Row { field: "supply.min_v", value: "4.5", why: "the highest lower limit met is 4.5 V" },
    Row { field: "supply.max_v", value: "3.6", why: "the lowest upper limit met is 3.6 V" },
    Row { field: "speed", value: "100", why: "the slowest grade met is 100 kHz" },
    Row {
        field: "write_protect.range",
        value: "all",
        why: "a WP pin that is tied active would forbid every write; ranges differ between parts",
    },
    Row { field: "write_protect.active", value: "high", why: "high in every published part with a WP pin" },
    Row { field: "write_protect.open_pin", value: "random", why: "a WP pin without a stated pull reads as anything" },
    Row {
        field: "write_protect.sampled",
        value: "data-phase",
        why: "the longest time that WP must be stable: from the first data byte to STOP",
    },
    Row {
        field: "write_protect.answer",
        value: "ack-busy",
        why: "the most deceptive answer met: data acknowledged, nothing stored, write time to be waited out",
    },
    Row { field: "write_protect.partial", value: "nothing", why: "no sheet read promises that part of a page is kept" },
    Row { field: "power_up_us", value: "5000", why: "the longest time met from power good to the first write is 5 ms" },
];

/// The row of a field.
#[must_use]
pub fn row(field: &str) -> Option<&'static Row> {
    TABLE.iter().find(|row| row.field == field)
}

/// Wraps an assumed value with the reason of its row.
#[must_use]
pub fn fact<T>(field: &str, value: T) -> Fact<T> {
    let why = row(field).map_or(String::new(), |row| row.why.to_owned());
    Fact { value, basis: Basis::Assumed { why } }
}

/// The assumed value of a numeric row.
#[must_use]
pub fn number(field: &str) -> f64 {
    row(field).and_then(|row| row.value.parse().ok()).unwrap_or_default()
}

/// Word-address bytes for a capacity.
#[must_use]
pub const fn word_address_bytes(capacity: u32) -> u8 {
    if capacity <= 2048 { 1 } else { 2 }
}

/// Block within which a sequential read stays.
#[must_use]
pub const fn read_wrap_bytes(capacity: u32, word_address_bytes: u8) -> u32 {
    let block = if word_address_bytes <= 1 { 256 } else { 32_768 };
    if capacity < block { capacity } else { block }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_a_reason_and_one_place() {
        for (index, row) in TABLE.iter().enumerate() {
            assert!(!row.why.is_empty() && !row.value.is_empty(), "{}", row.field);
            assert!(TABLE[..index].iter().all(|earlier| earlier.field != row.field), "{} twice", row.field);
        }
    }
}

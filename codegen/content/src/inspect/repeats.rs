//! A dump that is one block over and over.

use super::{Certainty, Content, Found, found};
use pagewise_part::card::{Card, density};

/// Smallest density that a part has, in bytes: 128 bit.
const SMALLEST: usize = 16;

/// The shortest block of which the dump consists, when it is there 2, 4, 8, ... times.
pub(super) fn find(dump: &[u8], card: Option<&Card>) -> Option<Found> {
    let mut period = dump.len();
    while period.is_multiple_of(2) && dump[..period / 2] == dump[period / 2..period] {
        period /= 2;
    }
    let copies = dump.len() / period;
    if copies < 2 {
        return None;
    }
    let held = card.map(|card| card.capacity_bytes.value as usize);
    let (sure, why) = judge(period, dump.len(), held);
    let because = format!("{} bytes are one block of {period} bytes, {copies} times: {why}", dump.len());
    Some(found(Content::Repeats { period: period as u32, copies: copies as u32 }, 0, dump.len(), sure, because))
}

fn judge(period: usize, length: usize, held: Option<usize>) -> (Certainty, String) {
    if period < SMALLEST || !period.is_power_of_two() {
        return (
            Certainty::Possible,
            "a pattern that was written so, rather than a part that was read past its end".into(),
        );
    }
    let size = density(period as u32);
    if held == Some(period) {
        let why = format!("the part holds {size}, so reading past its end began anew (capacity-alias)");
        return (Certainty::Certain, why);
    }
    let block = if period == 256 {
        "; 256 bytes are also the block that comes back when block-select bits are ignored (block-alias)"
    } else {
        ""
    };
    match held {
        Some(held) if held >= length => {
            let why = format!(
                "the card says that the part holds more; either a part of {size} is fitted (capacity-alias), or address \
                 bits do not arrive{block}"
            );
            (Certainty::Likely, why)
        }
        _ if period < 128 => (
            Certainty::Possible,
            format!("either a pattern that was written so, or a part of {size} read past its end"),
        ),
        _ => (Certainty::Likely, format!("a part of {size} was read past its end (capacity-alias){block}")),
    }
}

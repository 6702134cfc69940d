//! address-width: another number of word-address bytes than the part expects.
//!
//! Sure signs at the bus: a header that stops short, and a header that is too long and is followed by a repeated START
//! with R/W = 1 (see `restart_abort`). A one-byte program that writes data to a two-byte part looks legal; the ledger
//! knows.

use alloc::format;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::chip::registers::Target;
use crate::detector::Finding;
use crate::event::ChipId;
use crate::hazard::Hazard;
use crate::segment::Segment;

#[derive(Debug, Clone, Default)]
pub(crate) struct AddressWidth {}

impl AddressWidth {
    pub(super) fn ended(&self, segment: &Segment, chips: &[Chip]) -> Vec<Finding> {
        let sent = segment.raw.len();
        if segment.is_read() || segment.refused || sent == 0 {
            return Vec::new();
        }
        let array = |&&i: &&usize| chips[i].target == Target::Array;
        let short =
            segment.responders.iter().filter(array).filter(|&&i| sent < usize::from(chips[i].model.word_address_bytes));
        short
            .map(|&i| {
                let (name, expects) = (&chips[i].model.name, chips[i].model.word_address_bytes);
                let text = format!("{name}: {sent} word-address byte(s) sent, {expects} expected");
                Finding { chip: Some(ChipId(i)), at_ns: segment.at_ns, hazard: Hazard::AddressWidth, text }
            })
            .collect()
    }

    /// Latched bytes dropped by a repeated START with R/W = 1: the tail of a header that was too long.
    pub(super) fn too_long(&self, chip: ChipId, at_ns: u64, name: &str, expects: u8, extra: u32) -> Finding {
        let sent = u32::from(expects) + extra;
        let text = format!("{name}: {sent} word-address bytes sent, {expects} expected; the rest was taken as data");
        Finding { chip: Some(chip), at_ns, hazard: Hazard::AddressWidth, text }
    }
}

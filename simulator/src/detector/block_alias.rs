//! block-alias: the program uses device-address bits that the part does not look at.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::detector::Finding;
use crate::event::ChipId;
use crate::hazard::Hazard;
use crate::segment::Segment;

#[derive(Debug, Clone, Default)]
pub(crate) struct BlockAlias {
    /// Device addresses at which a chip with ignored bits was used for data, bit `a & 7` per address.
    used: BTreeMap<usize, Vec<u8>>,
    /// Chips whose word address was set in the segment before, in the same transfer.
    header_set: Vec<usize>,
}

impl BlockAlias {
    /// A bare address, a poll and a current address read prove nothing (a bus scan does them); a write with data or a
    /// read at a word address that the same transfer has set does.
    pub(super) fn ended(&mut self, segment: &Segment, chips: &[Chip]) -> Vec<Finding> {
        let Some(control) = segment.control else { return Vec::new() };
        let mut found = Vec::new();
        let before = core::mem::take(&mut self.header_set);
        for &i in segment.responders.iter().filter(|&&i| chips[i].ignored_address_bits() & 0x07 != 0) {
            let header = usize::from(chips[i].model.word_address_bytes);
            let uses_data =
                if segment.is_read() { segment.read && before.contains(&i) } else { segment.raw.len() > header };
            if !segment.is_read() && segment.restarted && segment.raw.len() >= header {
                self.header_set.push(i);
            }
            if uses_data && let Some(text) = self.use_address(i, control >> 1, chips[i].ignored_address_bits()) {
                let text = format!("{}: {text}", chips[i].model.name);
                found.push(Finding { chip: Some(ChipId(i)), at_ns: segment.at_ns, hazard: Hazard::BlockAlias, text });
            }
        }
        found
    }

    /// Two addresses alias when they differ, and only in bits that the part ignores.
    fn use_address(&mut self, chip: usize, address: u8, ignored: u8) -> Option<alloc::string::String> {
        let used = self.used.entry(chip).or_default();
        if used.contains(&address) {
            return None;
        }
        used.push(address);
        let alias = used.iter().find(|other| **other != address && (**other ^ address) & !ignored == 0);
        alias.map(|first| {
            format!("device addresses 0x{first:02X} and 0x{address:02X} reach the same bytes, the part ignores the difference")
        })
    }
}

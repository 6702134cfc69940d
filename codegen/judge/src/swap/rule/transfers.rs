//! How the firmware cuts what it writes and reads into transfers, in closed form, for the rules alone. The runs cut
//! theirs one after the other (`swap::firmware`), apart from this on purpose.

use crate::board::{Firmware, Region};

/// One transfer: its first byte and one past its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Transfer {
    pub(super) start: u32,
    pub(super) end: u32,
}

/// Where transfers end: at multiples of `block`, if there is one, and after `most` bytes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cuts {
    block: Option<u32>,
    most: u32,
}

impl Cuts {
    /// Of the page writes.
    pub(super) fn of_writes(firmware: &Firmware) -> Self {
        let most = match firmware.max_transfer_bytes {
            // The header takes its share; what leaves no room for data is sent byte by byte.
            Some(limit) => limit.saturating_sub(firmware.word_address_bytes.into()).max(1),
            None => u32::MAX,
        };
        Self { block: Some(firmware.page_bytes), most }
    }

    /// Of the reads.
    pub(super) fn of_reads(firmware: &Firmware) -> Self {
        Self { block: firmware.read_cut_bytes, most: firmware.max_transfer_bytes.unwrap_or(u32::MAX).max(1) }
    }

    /// The transfer that moves the byte at `offset` of a region.
    pub(super) fn around(self, region: &Region, offset: u32) -> Transfer {
        let (mut first, mut end) = (region.offset, region.offset + region.length);
        if let Some(block) = self.block {
            let below = offset - offset % block;
            (first, end) = (first.max(below), end.min(below.saturating_add(block)));
        }
        let start = first + (offset - first) / self.most * self.most;
        Transfer { start, end: end.min(start.saturating_add(self.most)) }
    }

    /// Whether a transfer of a region starts in `from..to`.
    pub(super) fn starts_in(self, region: &Region, from: u32, to: u32) -> bool {
        let (first, end) = (from.max(region.offset), to.min(region.offset + region.length));
        if first >= end {
            return false;
        }
        let around = self.around(region, first);
        around.start == first || around.end < end
    }

    /// The first transfer of a region that goes on past a multiple of `block`.
    pub(super) fn crossing(self, region: &Region, block: u32) -> Option<Transfer> {
        let next = (region.offset / block + 1).checked_mul(block)?;
        let borders = (next..region.offset + region.length).step_by(block as usize);
        borders.map(|border| (border, self.around(region, border))).find(|(at, it)| it.start != *at).map(|(_, it)| it)
    }

    /// Bytes of the longest transfer of a region.
    pub(super) fn longest(self, region: &Region) -> u32 {
        let end = region.offset + region.length;
        let first = self.block.map_or(end, |block| end.min(region.offset - region.offset % block + block));
        // After the first cut come whole blocks, and the last one is no longer than they are.
        let second = (end - first).min(self.block.unwrap_or(0));
        (first - region.offset).max(second).min(self.most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against cutting one after the other, byte by byte, on every small case.
    #[test]
    fn the_closed_form_cuts_as_firmware_does() {
        let mut crossings = 0;
        for (offset, length, cut, most) in cases() {
            let cuts = Cuts { block: (cut > 0).then_some(cut), most };
            let region = Region { name: String::new(), offset, length, writes_per_day: 1.0 };
            let mut transfers: Vec<Transfer> = Vec::new();
            for byte in offset..offset + length {
                match transfers.last_mut() {
                    Some(last) if last.end - last.start < most && (cut == 0 || byte % cut != 0) => last.end += 1,
                    _ => transfers.push(Transfer { start: byte, end: byte + 1 }),
                }
            }
            for transfer in &transfers {
                (transfer.start..transfer.end).for_each(|byte| assert_eq!(cuts.around(&region, byte), *transfer));
            }
            assert_eq!(cuts.longest(&region), transfers.iter().map(|it| it.end - it.start).max().unwrap());
            for (from, to) in [(0, 4), (4, 8), (6, 7), (8, 40), (16, 17)] {
                let starts = transfers.iter().any(|it| (from..to).contains(&it.start));
                assert_eq!(cuts.starts_in(&region, from, to), starts, "{offset} {length} {cut} {most} {from}");
            }
            for block in [1, 4, 8] {
                let crossing = transfers.iter().find(|it| it.start / block != (it.end - 1) / block);
                assert_eq!(cuts.crossing(&region, block), crossing.copied(), "{offset} {length} {cut} {most} {block}");
                crossings += u32::from(crossing.is_some());
            }
        }
        assert!(crossings > 1000, "{crossings}");
    }

    fn cases() -> impl Iterator<Item = (u32, u32, u32, u32)> {
        let sizes = [0, 1, 4, 6, 8, 16];
        (0..18).flat_map(move |offset| {
            (1..20).flat_map(move |length| {
                sizes.into_iter().flat_map(move |cut| [1, 3, 5, 8, u32::MAX].map(|most| (offset, length, cut, most)))
            })
        })
    }
}

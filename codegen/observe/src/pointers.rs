//! Reads without a word address after a write: where the part's pointer stood.
//!
//! Behind a write that ended at a page end the pointer stands at the first byte of the page, or at the byte behind it. What
//! is read there tells which, where both are known and differ.

use crate::crossing::PAGES;
use crate::memory::Memory;
use crate::property::{At, Moments};

/// Bytes of such a read that are looked at.
const LOOKED_AT: u32 = 16;

/// A byte that is known, or not.
type Known = Vec<Option<u8>>;

/// For one page, bytes that were read where only one of both puts them, and bytes that are neither.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    pub(crate) wrapped: u64,
    pub(crate) behind: u64,
    pub(crate) neither: u64,
}

/// A write that may have ended a page, and no access after it.
#[derive(Debug, Clone)]
struct Ended {
    behind: Known,
    /// From the first byte of the page, for each page that ends there.
    wrapped: [Option<Known>; PAGES.len()],
}

/// What such reads showed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pointers {
    ended: Option<Ended>,
    /// By page, as in [`PAGES`].
    pub(crate) told: [Tally; PAGES.len()],
    pub(crate) moments: Moments,
}

impl Pointers {
    /// The pointer is set otherwise.
    pub(crate) fn forget(&mut self) {
        self.ended = None;
    }

    /// A write is over; memory is as it was before.
    pub(crate) fn wrote(&mut self, memory: &Memory, device: u8, offset: u32, data: &[u8]) {
        let end = offset + data.len() as u32;
        let before = |place: u32| memory.get(device, place).filter(|cell| cell.certain).map(|cell| cell.byte);
        let wrapped = PAGES.map(|page| {
            let ends = page > 0 && end >= page && end.is_multiple_of(page);
            // Also where the write ran over page ends, the last bytes of it fill the page in this order.
            let after = |place: u32| match place.checked_sub(offset) {
                Some(at) => data.get(at as usize).copied(),
                None => before(place),
            };
            ends.then(|| (end - page..end).take(LOOKED_AT as usize).map(after).collect())
        });
        self.ended = Some(Ended { behind: (end..end + LOOKED_AT).map(before).collect(), wrapped });
    }

    /// Bytes read without a word address.
    pub(crate) fn read(&mut self, bytes: &[u8], at: At) {
        let Some(Ended { behind, wrapped }) = self.ended.take() else { return };
        for (tally, wrapped) in self.told.iter_mut().zip(wrapped) {
            for ((wrapped, behind), byte) in wrapped.iter().flatten().zip(&behind).zip(bytes) {
                let (Some(wrapped), Some(behind)) = (wrapped, behind) else { continue };
                if wrapped == behind {
                    continue;
                }
                match byte {
                    byte if byte == wrapped => tally.wrapped += 1,
                    byte if byte == behind => tally.behind += 1,
                    _ => tally.neither += 1,
                }
                self.moments.add(at);
            }
        }
    }
}

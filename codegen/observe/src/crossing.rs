//! Writes that cross a page end: what is read afterwards tells the part's page.

use std::collections::HashMap;

use crate::property::{At, Moments};

/// Pages that parts have, in bytes; 0 stands for none.
pub(crate) const PAGES: [u32; 10] = [2, 4, 8, 16, 32, 64, 128, 256, 512, 0];
/// Places that are waited for.
const KEPT: usize = 16_384;
/// Longer writes are not looked at.
const LONGEST: usize = 2048;

/// For one place, the byte that it holds by each page; `None` where that page leaves it alone.
type Expected = [Option<u8>; PAGES.len()];

/// What was written across page ends and has not been read since.
#[derive(Debug, Clone, Default)]
pub(crate) struct Crossings {
    waiting: HashMap<(u8, u32), Expected>,
    /// What was known at places that a wrap would have changed: bytes read before.
    before: HashMap<(u8, u32), u8>,
    /// Bytes that were as a page says and not as all others say, and bytes that were otherwise.
    pub(crate) right: [u64; PAGES.len()],
    pub(crate) wrong: [u64; PAGES.len()],
    pub(crate) moments: Moments,
    written_at: At,
}

impl Crossings {
    pub(crate) fn forget(&mut self) {
        self.waiting.clear();
        self.before.clear();
    }

    pub(crate) fn write(&mut self, device: u8, offset: u32, data: &[u8], at: At) {
        let end = offset + data.len() as u32 - 1;
        if !self.waiting.is_empty() {
            for place in offset & !511..=(end | 511).min(offset + 4096) {
                if self.waiting.remove(&(device, place)).is_some() {
                    self.before.remove(&(device, place));
                }
            }
        }
        if let [byte] = data {
            self.before.insert((device, offset), *byte);
        }
        if self.waiting.len() + data.len() > KEPT || self.before.len() > KEPT {
            self.forget();
        }
        if data.len() < 2 || data.len() > LONGEST {
            return;
        }
        self.written_at = at;
        for (i, page) in PAGES.iter().enumerate() {
            for (n, byte) in data.iter().enumerate() {
                let straight = offset + n as u32;
                let place = if *page == 0 { straight } else { offset & !(page - 1) | straight & (page - 1) };
                self.waiting.entry((device, place)).or_insert([None; PAGES.len()])[i] = Some(*byte);
            }
        }
    }

    pub(crate) fn read(&mut self, device: u8, place: u32, byte: u8) {
        let Some(expected) = self.waiting.remove(&(device, place)) else {
            self.before.insert((device, place), byte);
            return;
        };
        let before = self.before.insert((device, place), byte);
        // Where a page leaves the place alone, it holds what it held.
        let says = expected.map(|said| said.or(before));
        let known: Vec<u8> = says.iter().flatten().copied().collect();
        let telling = known.len() == PAGES.len() && known.iter().any(|said| *said != known[0]);
        if !telling {
            return;
        }
        for (i, said) in says.iter().enumerate() {
            let tally = if *said == Some(byte) { &mut self.right } else { &mut self.wrong };
            tally[i] += 1;
        }
        self.moments.add(self.written_at);
    }

    /// The page that alone explains what was read, and how many bytes speak for it.
    pub(crate) fn page(&self) -> Option<(u32, u64)> {
        let mut fitting = (0..PAGES.len()).filter(|i| self.wrong[*i] == 0 && self.right[*i] > 0);
        let only = fitting.next()?;
        if fitting.next().is_some() {
            return None;
        }
        Some((PAGES[only], self.right[only]))
    }
}

//! The page latch: where data waits for STOP.

use alloc::vec::Vec;

/// Data bytes of one page write, by their place in the page.
#[derive(Debug, Clone, Default)]
pub(crate) struct Latch {
    /// First byte of the page in the array.
    pub(crate) page: u32,
    /// Next place in the page.
    cursor: u32,
    /// Data bytes received, those that overwrote others included.
    pub(crate) received: u32,
    /// Where the first byte went, in the array.
    pub(crate) first: u32,
    data: Vec<u8>,
    filled: Vec<bool>,
}

impl Latch {
    /// Empties the latch and points it at `offset`.
    pub(crate) fn open(&mut self, offset: u32, page_size: u32) {
        let size = page_size as usize;
        if self.data.len() == size {
            if self.received > 0 {
                self.filled.fill(false);
            }
        } else {
            self.data = alloc::vec![0; size];
            self.filled = alloc::vec![false; size];
        }
        self.page = offset & !(page_size - 1);
        self.cursor = offset & (page_size - 1);
        self.first = offset;
        self.received = 0;
    }

    pub(crate) fn page_size(&self) -> u32 {
        self.data.len() as u32
    }

    /// Offset in the array that the next byte goes to.
    pub(crate) fn next(&self) -> u32 {
        self.page + self.cursor
    }

    /// Offset of the last byte that went in.
    pub(crate) fn last(&self) -> u32 {
        self.page + (self.cursor.wrapping_sub(1) & (self.page_size() - 1))
    }

    /// Whether the next byte is the first one to go round the end of the page.
    pub(crate) fn about_to_wrap(&self) -> bool {
        self.first - self.page + self.received == self.page_size()
    }

    /// Bytes that fit until [`Latch::about_to_wrap`] holds, or 0 when that is past.
    pub(crate) fn room(&self) -> u32 {
        self.page_size().saturating_sub(self.first - self.page + self.received)
    }

    pub(crate) fn push(&mut self, byte: u8) {
        self.data[self.cursor as usize] = byte;
        self.filled[self.cursor as usize] = true;
        self.cursor = (self.cursor + 1) & (self.page_size() - 1);
        self.received += 1;
    }

    /// As many pushes; must not be more than [`Latch::room`].
    pub(crate) fn push_slice(&mut self, bytes: &[u8]) {
        let at = self.cursor as usize;
        self.data[at..at + bytes.len()].copy_from_slice(bytes);
        self.filled[at..at + bytes.len()].fill(true);
        self.cursor = (self.cursor + bytes.len() as u32) & (self.page_size() - 1);
        self.received += bytes.len() as u32;
    }

    /// Forgets all bytes.
    pub(crate) fn clear(&mut self) {
        self.received = 0;
        self.filled.fill(false);
    }

    /// Forgets the bytes for which `keep` (given the offset in the array) is false; returns how many.
    pub(crate) fn retain(&mut self, keep: impl Fn(u32) -> bool) -> u32 {
        let mut dropped = 0;
        for (i, filled) in self.filled.iter_mut().enumerate() {
            if *filled && !keep(self.page + i as u32) {
                *filled = false;
                dropped += 1;
            }
        }
        dropped
    }

    /// Number of distinct bytes.
    pub(crate) fn count(&self) -> u32 {
        self.filled.iter().filter(|filled| **filled).count() as u32
    }

    /// Offset in the array and value of each latched byte, in ascending order.
    pub(crate) fn bytes(&self) -> impl Iterator<Item = (u32, u8)> + '_ {
        let pairs = self.filled.iter().zip(&self.data).enumerate();
        pairs.filter(|(_, (filled, _))| **filled).map(|(i, (_, byte))| (self.page + i as u32, *byte))
    }
}

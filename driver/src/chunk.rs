//! The cut of a request into single accesses, as an iterator.

use core::ops::Range;

use crate::address::Header;
use crate::geometry::Geometry;

/// One access of a longer request: what one bus call carries.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Chunk {
    /// 7-bit device address, block-select bits included.
    pub device_address: u8,
    /// Word-address bytes.
    pub header: Header,
    /// Offset of the first byte on the part.
    pub offset: u32,
    /// The bytes of the request that this access moves, counted from the start of the request.
    pub range: Range<usize>,
}

/// Iterator over the accesses of a request; made by [`Geometry::write_chunks`] and [`Geometry::read_chunks`].
#[derive(Debug, Clone)]
pub struct Chunks {
    geometry: Geometry,
    cut: Cut,
    offset: u32,
    done: usize,
    length: usize,
    data_max: usize,
}

/// Where an access must end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    /// At the end of a page.
    Page,
    /// At the end of a sequential-read block.
    Block,
    /// At whichever of both comes first: for bytes that are written and read in one piece.
    Both,
}

impl Geometry {
    /// The page writes for `length` bytes at `offset`, cut at page ends and at `max_transfer` bytes per call, header
    /// included.
    ///
    /// Yields nothing if the request does not lie inside the part (see [`Geometry::contains`]) or if `max_transfer`
    /// leaves no room for data beside the header.
    ///
    /// ```
    /// # use pagewise_driver::{Geometry, Parameters};
    /// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
    /// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
    /// let cuts: Vec<_> = PART.write_chunks(0x1E, 36, usize::MAX).map(|c| (c.offset, c.range)).collect();
    /// assert_eq!(cuts, [(0x1E, 0..2), (0x20, 2..34), (0x40, 34..36)]);
    /// ```
    pub const fn write_chunks(&self, offset: u32, length: usize, max_transfer: usize) -> Chunks {
        self.chunks(Cut::Page, offset, length, max_transfer)
    }

    /// The reads for `length` bytes at `offset`, cut at sequential-read blocks and at `max_transfer` bytes per call,
    /// header included.
    ///
    /// Yields nothing in the same cases as [`Geometry::write_chunks`].
    pub const fn read_chunks(&self, offset: u32, length: usize, max_transfer: usize) -> Chunks {
        self.chunks(Cut::Block, offset, length, max_transfer)
    }

    const fn chunks(&self, cut: Cut, offset: u32, length: usize, max_transfer: usize) -> Chunks {
        let length = if self.contains(offset, length) { length } else { 0 };
        let data_max = max_transfer.saturating_sub(self.word_address_bytes() as usize);
        Chunks { geometry: *self, cut, offset, done: 0, length, data_max }
    }

    /// Bytes that one access at `offset` may move, of `left` wanted and `data_max` allowed.
    pub(crate) fn chunk_bytes(&self, cut: Cut, offset: u32, left: usize, data_max: usize) -> usize {
        // Powers of two: the smaller one ends wherever the larger one does.
        let block = match cut {
            Cut::Page => self.page_bytes(),
            Cut::Block => self.sequential_read_bytes(),
            Cut::Both => self.page_bytes().min(self.sequential_read_bytes()),
        };
        // So the remainder is a mask.
        let room = block.wrapping_sub(offset & block.wrapping_sub(1));
        usize::try_from(room).unwrap_or(usize::MAX).min(left).min(data_max)
    }
}

impl Iterator for Chunks {
    type Item = Chunk;

    fn next(&mut self) -> Option<Chunk> {
        let left = self.length.saturating_sub(self.done);
        let bytes = self.geometry.chunk_bytes(self.cut, self.offset, left, self.data_max);
        if bytes == 0 {
            return None;
        }
        let place = self.geometry.locate(self.offset);
        let end = self.done.saturating_add(bytes);
        let chunk = Chunk {
            device_address: place.device_address,
            header: place.header,
            offset: self.offset,
            range: self.done..end,
        };
        self.done = end;
        self.offset = self.offset.saturating_add(bytes as u32);
        Some(chunk)
    }
}

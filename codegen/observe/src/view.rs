//! The traffic of one device read with a given number of word-address bytes, and how many coincidences that needs.
//!
//! Each way to read the traffic predicts bytes: what was written or read at a place is read there again. A byte that the
//! way cannot predict costs the bits that it takes to guess it; a prediction that fails costs more, since it needs a write
//! that was not stored. The way with the least cost explains the reads; the others need that many bits of coincidence more.

use std::collections::BTreeMap;

use crate::blocks::Blocks;
use crate::crossing::Crossings;
use crate::cuts::Cuts;
use crate::memory::Memory;
use crate::pointers::Pointers;
use crate::property::{At, Moments};
use crate::spans::Spans;
use crate::waits::Waits;

/// Bits for a byte that is not predicted: erased and zero bytes are common.
fn surprise(byte: u8) -> u64 {
    if byte == 0xFF || byte == 0 { 1 } else { 8 }
}

/// Bits for a byte that is predicted and read otherwise.
const CONTRADICTION: u64 = 20;
/// The smallest page that multi-byte writes can wrap in.
const SMALLEST_PAGE: u32 = 2;

/// One way to read the traffic of a device.
#[derive(Debug, Clone)]
pub(crate) struct View {
    pub(crate) header: u8,
    pub(crate) memory: Memory,
    /// Where the next byte is read, if that is known.
    pointer: Option<u32>,
    /// Bits of coincidence that reads need.
    pub(crate) cost: u64,
    pub(crate) contradictions: u64,
    pub(crate) first_contradiction: Option<At>,
    /// Reads of bytes that were predicted and are neither erased nor zero.
    pub(crate) confirmed: u64,
    pub(crate) confirmed_at: Moments,
    pub(crate) writes: Cuts,
    pub(crate) reads: Cuts,
    pub(crate) written: BTreeMap<u8, Spans>,
    pub(crate) read: BTreeMap<u8, Spans>,
    pub(crate) crossings: Crossings,
    pub(crate) pointers: Pointers,
    pub(crate) blocks: Blocks,
    pub(crate) waits: Waits,
    /// Refusals although nothing had been written.
    pub(crate) refused_idle: u64,
    pub(crate) refused_idle_at: Option<At>,
}

impl View {
    pub(crate) fn new(header: u8) -> Self {
        Self {
            header,
            memory: Memory::default(),
            pointer: None,
            cost: 0,
            contradictions: 0,
            first_contradiction: None,
            confirmed: 0,
            confirmed_at: Moments::default(),
            writes: Cuts::default(),
            reads: Cuts::default(),
            written: BTreeMap::new(),
            read: BTreeMap::new(),
            crossings: Crossings::default(),
            pointers: Pointers::default(),
            blocks: Blocks::default(),
            waits: Waits::default(),
            refused_idle: 0,
            refused_idle_at: None,
        }
    }

    /// Bytes that the word address can reach.
    fn block(&self) -> u32 {
        1 << (8 * u32::from(self.header))
    }

    /// A place that counts on through device addresses.
    fn place(&self, device: u8, offset: u32) -> u64 {
        u64::from(device) * u64::from(self.block()) + u64::from(offset)
    }

    fn offset(&self, bytes: &[u8]) -> Option<u32> {
        let header = bytes.get(..usize::from(self.header))?;
        Some(header.iter().fold(0, |offset, byte| offset << 8 | u32::from(*byte)))
    }

    /// The supply went, or another recording begins.
    pub(crate) fn forget_pointer(&mut self) {
        self.pointer = None;
        self.pointers.forget();
        self.writes.interrupt();
        self.reads.interrupt();
        self.waits.forget();
    }

    /// Another recording begins.
    pub(crate) fn forget(&mut self) {
        self.forget_pointer();
        self.memory.forget();
        self.crossings.forget();
    }

    /// A message to the device without a write cycle: it sets the pointer if it holds a whole word address.
    pub(crate) fn point(&mut self, bytes: &[u8]) {
        self.pointers.forget();
        self.pointer = self.offset(bytes);
    }

    /// A message to the device, ended by a STOP; `stored` if every byte of it was acknowledged.
    pub(crate) fn write(&mut self, device: u8, bytes: &[u8], stored: bool, at: At) {
        self.pointers.forget();
        let Some(offset) = self.offset(bytes) else {
            self.pointer = None;
            return;
        };
        let data = &bytes[usize::from(self.header)..];
        self.pointer = Some(offset);
        if data.is_empty() {
            return;
        }
        if !stored {
            self.pointer = None;
            return;
        }
        let len = data.len() as u32;
        self.writes.add(self.place(device, offset), len, at);
        self.written.entry(device).or_default().add(offset, len);
        self.crossings.write(device, offset, data, at);
        self.pointers.wrote(&self.memory, device, offset, data);
        self.store(device, offset, data);
    }

    /// Takes what was written into memory, as far as no page end can have led it astray.
    fn store(&mut self, device: u8, offset: u32, data: &[u8]) {
        let len = data.len() as u32;
        let end = offset + len;
        let block = self.block();
        let edge = (offset / SMALLEST_PAGE + 1) * SMALLEST_PAGE;
        // Whatever page the part has, these lie where they were meant.
        let safe = if end <= edge { len } else { edge - offset };
        if end > edge {
            self.memory.doubt(device, offset & !0xFF, end.min(block));
        }
        for (i, byte) in data.iter().enumerate() {
            let place = offset + i as u32;
            if place < block {
                self.memory.put(device, place, *byte, (i as u32) < safe && end <= edge);
            }
        }
        self.pointer = (end < block && !end.is_multiple_of(256)).then_some(end);
        if end > edge {
            // The pointer stands behind the last byte only where the page did not wrap.
            self.pointer = self.pointer.filter(|end| end / SMALLEST_PAGE == offset / SMALLEST_PAGE);
        }
    }

    /// Bytes read from the pointer.
    pub(crate) fn read(&mut self, device: u8, bytes: &[u8], at: At) {
        self.pointers.read(bytes, at);
        let Some(start) = self.pointer else {
            self.cost += bytes.iter().map(|byte| surprise(*byte)).sum::<u64>();
            return;
        };
        let block = self.block();
        let len = bytes.len() as u32;
        self.reads.add(self.place(device, start), len, at);
        self.read.entry(device).or_default().add(start, len.min(block - start));
        for (i, byte) in bytes.iter().enumerate() {
            let place = start + i as u32;
            if place < block {
                self.compare(device, place, *byte, at);
                self.crossings.read(device, place, *byte);
                self.memory.put(device, place, *byte, true);
            } else {
                self.cost += surprise(*byte);
                self.blocks.beyond(&self.memory, device, place % block, *byte, at);
            }
        }
        let end = start + len;
        self.pointer = (end < block).then_some(end);
    }

    fn compare(&mut self, device: u8, place: u32, byte: u8, at: At) {
        match self.memory.get(device, place) {
            Some(cell) if cell.byte == byte => {
                if surprise(byte) > 1 {
                    self.confirmed += 1;
                    self.confirmed_at.add(at);
                }
            }
            Some(cell) if cell.certain => {
                self.cost += CONTRADICTION;
                self.contradictions += 1;
                self.first_contradiction.get_or_insert(at);
            }
            _ => self.cost += surprise(byte),
        }
    }
}

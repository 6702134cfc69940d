//! The shortest time in which a job can be done on a two-wire bus: the floor that the driver is held against.
//!
//! Counted in SCL clocks, from the bus specification and from what the part's card says; nothing here knows the driver.
//!
//! - A byte takes nine clocks, its acknowledge bit included (UM10204, section 3.1.6).
//! - START, repeated START and STOP take one clock each: SCL has to be low before and high around each of them, and low
//!   and high together are a clock.
//! - A read sends device address and word address, and after a repeated START the device address again. The part counts
//!   on by itself up to the end of its sequential-read block; the next block needs its own address, after a repeated
//!   START. A part without word-address bytes takes the device address for both.
//! - A write sends device address, word address and data once for each page that it touches, and takes one write cycle
//!   per page, from STOP on. That it is over is told by an answered device address, and by nothing else on the wire: by
//!   that of the next page write, or after the last page by one with START and STOP of its own.
//! - An answer comes in the ninth clock. START and the eight clocks before may go out while the cycle still runs, so they
//!   cost no time. (Sheets that count the cycle up to the START of the answered address are stricter with the bus; a
//!   floor has to be the lower one.)

use pagewise_part::card::{Card, CyclePer};

/// SCL clocks of a byte with its acknowledge bit.
pub const BYTE: u64 = 9;
/// SCL clocks of a START, a repeated START or a STOP.
pub const CONDITION: u64 = 1;
/// SCL clocks of START and device address before its answer.
pub const UNANSWERED: u64 = CONDITION + BYTE - 1;

/// SCL clocks of the bytes of a page write, START and STOP not counted.
#[must_use]
pub fn write_clocks(header: u64, data: u64) -> u64 {
    BYTE * (1 + header + data)
}

/// SCL clocks of the bytes of a random or sequential read, START, repeated START and STOP not counted.
#[must_use]
pub fn read_clocks(header: u64, data: u64) -> u64 {
    let addressing = if header == 0 { 0 } else { 1 + header };
    BYTE * (addressing + 1 + data)
}

/// Least clocks and write cycles of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Floor {
    /// SCL clocks.
    pub clocks: u64,
    /// Write cycles.
    pub cycles: u64,
    /// Data bytes in them, for parts whose write cycle is as long as the number of bytes demands.
    pub bytes: u64,
}

impl Floor {
    /// Reading `length` bytes from `offset`.
    #[must_use]
    pub fn read(card: &Card, offset: u32, length: u32) -> Self {
        let header = u64::from(card.word_address_bytes.value);
        let mut clocks = CONDITION;
        for (_, bytes) in pieces(offset, length, card.read_wrap_bytes.value) {
            let starts = if header == 0 { CONDITION } else { 2 * CONDITION };
            clocks += starts + read_clocks(header, u64::from(bytes));
        }
        Self { clocks, cycles: 0, bytes: 0 }
    }

    /// Writing `length` bytes from `offset`, up to the moment in which it is known to be stored.
    #[must_use]
    pub fn write(card: &Card, offset: u32, length: u32) -> Self {
        let header = u64::from(card.word_address_bytes.value);
        let mut floor = Self::default();
        for (_, bytes) in pieces(offset, length, card.page_bytes.value) {
            floor.clocks += CONDITION + write_clocks(header, u64::from(bytes)) + CONDITION;
            floor.cycles += 1;
            floor.bytes += u64::from(bytes);
        }
        if card.write_cycle_max_us.value == 0 {
            return Self { cycles: 0, bytes: 0, ..floor };
        }
        floor.clocks += CONDITION + BYTE + CONDITION;
        floor.clocks -= UNANSWERED * floor.cycles;
        floor
    }

    /// The floor in nanoseconds, with write cycles (or bytes, as the card says) of `cycle_ns`.
    #[must_use]
    pub fn ns(&self, card: &Card, scl_hz: u32, cycle_ns: u64) -> u64 {
        let cycles = match card.write_cycle_per.value {
            CyclePer::Page => self.cycles,
            CyclePer::Byte => self.bytes,
        };
        self.clocks * 1_000_000_000_u64.div_ceil(u64::from(scl_hz)) + cycles * cycle_ns
    }
}

/// Cuts a range at every multiple of `unit`: offset and length of each piece.
fn pieces(offset: u32, length: u32, unit: u32) -> impl Iterator<Item = (u32, u32)> {
    let end = offset + length;
    let mut at = offset;
    std::iter::from_fn(move || {
        let next = (at / unit + 1).saturating_mul(unit).min(end);
        let piece = (at < end).then_some((at, next - at));
        at = next;
        piece
    })
}

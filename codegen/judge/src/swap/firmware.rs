//! Runs what a board file says about its firmware, on any bus: the firmware as it is, not a careful driver.
//!
//! It trusts its settings blindly: it composes addresses with its own number of word-address bytes, cuts writes at its
//! own page, waits as it always waited, and goes on after an error. What that does to a part is the evidence.

use std::iter;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{I2c, Operation};

use crate::board::{Firmware, Region, Wait, WriteShape};

/// Pause between two polls, so that the processor gets on with other work (our choice; board files do not tell).
const POLL_PAUSE_US: u32 = 500;

/// One transfer of the firmware: where it thinks the bytes go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
}

impl Firmware {
    /// Header bytes of a transfer.
    fn header(&self, offset: u32) -> Vec<u8> {
        (0..self.word_address_bytes).rev().map(|place| (offset >> (8 * u32::from(place))) as u8).collect()
    }

    /// Device address of a transfer: the block-select bits that this firmware knows of.
    #[must_use]
    pub fn address(&self, offset: u32) -> u8 {
        let above = offset.checked_shr(8 * u32::from(self.word_address_bytes)).unwrap_or(0);
        let mask = (1u32 << self.block_select_bits) - 1;
        self.device_address | ((above & mask) << self.block_select_shift) as u8
    }

    fn room(&self) -> u32 {
        let limit = self.max_transfer_bytes.unwrap_or(u32::MAX);
        limit.saturating_sub(u32::from(self.word_address_bytes)).max(1)
    }

    /// The page writes by which this firmware writes a region.
    pub fn write_pieces(&self, region: &Region) -> impl Iterator<Item = Piece> + use<> {
        pieces(region, self.room(), Some(self.page_bytes))
    }

    /// The reads by which it reads a region.
    pub fn read_pieces(&self, region: &Region) -> impl Iterator<Item = Piece> + use<> {
        pieces(region, self.max_transfer_bytes.unwrap_or(u32::MAX).max(1), self.read_cut_bytes)
    }
}

fn pieces(region: &Region, room: u32, cut: Option<u32>) -> impl Iterator<Item = Piece> + use<> {
    let end = region.offset + region.length;
    let piece = move |offset: u32| {
        let to_cut = cut.map_or(u32::MAX, |block| block - offset % block);
        (offset < end).then(|| Piece { offset, length: (end - offset).min(room).min(to_cut) })
    };
    iter::successors(piece(region.offset), move |last| piece(last.offset + last.length))
}

/// What the firmware saw while it ran.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Log {
    /// Page writes sent.
    pub writes: u32,
    /// Bytes in them.
    pub bytes: u32,
    /// Bus errors that it met, other than while polling.
    pub errors: u32,
    /// Polls that ended at their limit.
    pub overruns: u32,
    /// First place where a read gave something else than was stored: offset, expected, found.
    pub misread: Option<(u32, u8, u8)>,
}

/// The firmware at work on a bus.
pub struct Runner<'f, B, D> {
    settings: &'f Firmware,
    bus: B,
    delay: D,
    now_us: Box<dyn Fn() -> u64 + 'f>,
    pass: Box<Pass<'f>>,
    failed: Option<Box<dyn Fn() -> bool + 'f>>,
    log: Log,
}

/// Lets polls of a device address with a header pass, each followed by a pause, for at most a time, both in nanoseconds.
type Pass<'f> = dyn Fn(u8, &[u8], u64, u64) + 'f;

impl<'f, B: I2c, D: DelayNs> Runner<'f, B, D> {
    /// Takes the bus, its delay, and a clock for the limit of acknowledge polling.
    pub fn new(settings: &'f Firmware, bus: B, delay: D, now_us: impl Fn() -> u64 + 'f) -> Self {
        let pass: Box<Pass<'f>> = Box::new(|_, _, _, _| ());
        Self { settings, bus, delay, now_us: Box::new(now_us), pass, failed: None, log: Log::default() }
    }

    /// With a simulation that can pass over polls which are refused whatever happens: their device address, header, the
    /// pause after each and the time they may take in all, in nanoseconds.
    #[must_use]
    pub fn passing(self, pass: impl Fn(u8, &[u8], u64, u64) + 'f) -> Self {
        Self { pass: Box::new(pass), ..self }
    }

    /// Sends nothing more once something went wrong, in its own log or as `failed` says.
    #[must_use]
    pub fn until_failure(self, failed: impl Fn() -> bool + 'f) -> Self {
        Self { failed: Some(Box::new(failed)), ..self }
    }

    /// Whether it still sends.
    #[must_use]
    pub fn goes_on(&self) -> bool {
        let Log { errors, overruns, misread, .. } = &self.log;
        self.failed.as_ref().is_none_or(|failed| *errors == 0 && *overruns == 0 && misread.is_none() && !failed())
    }

    /// Writes a region with the bytes meant for it.
    pub fn write(&mut self, region: &Region, data: &[u8]) {
        let mut rest = data;
        for piece in self.settings.write_pieces(region) {
            if !self.goes_on() {
                return;
            }
            let (now, later) = rest.split_at(rest.len().min(piece.length as usize));
            rest = later;
            self.log.writes += 1;
            self.log.bytes += piece.length;
            let (address, header) = (self.settings.address(piece.offset), self.settings.header(piece.offset));
            let sent = match self.settings.write_shape {
                WriteShape::OneBuffer => self.bus.write(address, &[header.as_slice(), now].concat()),
                WriteShape::TwoJoined | WriteShape::TwoRestarted if header.is_empty() => self.bus.write(address, now),
                WriteShape::TwoJoined | WriteShape::TwoRestarted => {
                    self.bus.transaction(address, &mut [Operation::Write(&header), Operation::Write(now)])
                }
            };
            self.log.errors += u32::from(sent.is_err());
            if self.goes_on() {
                self.wait(address, &header);
            }
        }
    }

    /// Reads a region and compares it with what was meant for it.
    pub fn read(&mut self, region: &Region, expected: &[u8]) {
        let mut done = 0;
        for piece in self.settings.read_pieces(region) {
            if !self.goes_on() {
                return;
            }
            let mut buffer = vec![0; piece.length as usize];
            let (address, header) = (self.settings.address(piece.offset), self.settings.header(piece.offset));
            let got = if header.is_empty() {
                self.bus.read(address, &mut buffer)
            } else {
                self.bus.write_read(address, &header, &mut buffer)
            };
            self.log.errors += u32::from(got.is_err());
            let wanted = expected.get(done..done + buffer.len()).unwrap_or_default();
            let wrong = wanted.iter().zip(&buffer).position(|(wanted, found)| wanted != found);
            if let (None, Some(at)) = (self.log.misread, wrong) {
                self.log.misread = Some((piece.offset + at as u32, wanted[at], buffer[at]));
            }
            done += buffer.len();
        }
    }

    /// Device address of the last write of `region`, to which the firmware keeps when it reads on.
    #[must_use]
    pub fn last_address(&self, region: &Region) -> u8 {
        self.settings.address(self.settings.write_pieces(region).last().map_or(region.offset, |piece| piece.offset))
    }

    /// Reads one byte from wherever the pointer stands after the last write of `region`.
    pub fn read_on(&mut self, region: &Region) -> Option<u8> {
        let mut byte = [0];
        match self.bus.read(self.last_address(region), &mut byte) {
            Ok(()) => Some(byte[0]),
            Err(_) => {
                self.log.errors += 1;
                None
            }
        }
    }

    /// Reads one byte from another device, as the rest of the firmware does all day.
    pub fn visit(&mut self, address: u8) {
        // What comes back is the other device's business; whether anybody else answered too is in the trace.
        if self.goes_on() {
            let _ = self.bus.read(address, &mut [0]);
        }
    }

    /// What happened.
    #[must_use]
    pub fn finish(self) -> Log {
        self.log
    }

    fn wait(&mut self, address: u8, header: &[u8]) {
        match self.settings.wait {
            Wait::Fixed { us } => self.delay.delay_us(us),
            Wait::Poll { limit_us } => self.poll(limit_us, address, header),
            Wait::PollByRead { limit_us } => self.poll(limit_us, address, &[]),
        }
    }

    /// Asks with the header, or by reading a byte where there is none.
    fn poll(&mut self, limit_us: u32, address: u8, header: &[u8]) {
        let ask = |bus: &mut B| match header {
            [] => bus.read(address, &mut [0]),
            _ => bus.write(address, header),
        };
        // The clock rounds down.
        let until = (self.now_us)() + u64::from(limit_us) + 1;
        let mut last_try = false;
        while ask(&mut self.bus).is_err() {
            // One more try at the limit: the part may have become ready since the one before.
            if last_try {
                self.log.overruns += 1;
                return;
            }
            let left_us = until.saturating_sub((self.now_us)());
            last_try = left_us <= u64::from(POLL_PAUSE_US);
            self.delay.delay_us(if last_try { left_us as u32 } else { POLL_PAUSE_US });
            if !last_try {
                // None of them would have been the last try.
                let within_us = until.saturating_sub((self.now_us)() + 1);
                (self.pass)(address, header, u64::from(POLL_PAUSE_US) * 1000, within_us * 1000);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn firmware() -> Firmware {
        Firmware {
            device_address: 0x50,
            word_address_bytes: 1,
            block_select_bits: 2,
            block_select_shift: 0,
            page_bytes: 16,
            wait: Wait::Fixed { us: 5000 },
            max_transfer_bytes: Some(9),
            write_shape: WriteShape::OneBuffer,
            read_cut_bytes: None,
            reads_on_after_write: false,
            first_access_us: None,
        }
    }

    #[test]
    fn the_firmware_composes_addresses_from_its_own_settings() {
        let firmware = firmware();
        assert_eq!((firmware.address(0x2FE), firmware.header(0x2FE)), (0x52, vec![0xFE]));
        let plain = Firmware { block_select_bits: 0, word_address_bytes: 2, ..firmware };
        assert_eq!((plain.address(0x2FE), plain.header(0x2FE)), (0x50, vec![0x02, 0xFE]));
    }

    #[test]
    fn pieces_end_at_pages_and_at_the_longest_transfer() {
        let region = Region { name: "r".into(), offset: 12, length: 20, writes_per_day: 1.0 };
        let pieces: Vec<_> = firmware().write_pieces(&region).map(|p| (p.offset, p.length)).collect();
        assert_eq!(pieces, [(12, 4), (16, 8), (24, 8)]);
    }
}

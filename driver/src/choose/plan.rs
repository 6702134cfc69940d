//! What to read next to find out which part is fitted, and what the answers mean. No bus: a shell carries it out.

use core::ops::Range;

use embedded_hal::i2c::{Error, ErrorKind};

use super::candidate::{Candidate, ChooseError, LongerHeader};
use crate::address::Location;
use crate::options::Options;

/// A read: from where, and to which bytes of the scratch memory; or of one byte that is read again.
#[derive(Debug)]
pub(super) struct Step {
    pub place: Location,
    pub range: Range<usize>,
    /// Read one byte beside the scratch memory and hold it against `range`.
    pub again: bool,
}

/// Goes through the candidates in order of word-address bytes.
#[derive(Debug)]
pub(super) struct Choice<'c> {
    candidates: &'c [Candidate],
    max_transfer_bytes: usize,
    longer: LongerHeader,
    header: u8,
    index: usize,
    /// Bytes of this candidate's record that were read; or, in the second reading, that are still to be read.
    done: usize,
    again: bool,
    tried: usize,
    fitting: Option<usize>,
}

impl<'c> Choice<'c> {
    /// Checks the candidates; gives also the microseconds to wait before the first read.
    pub(crate) fn new<E>(
        candidates: &'c [Candidate],
        scratch: &[u8],
        options: &Options,
        longer: LongerHeader,
    ) -> Result<(Self, u32), ChooseError<E>> {
        for (index, candidate) in candidates.iter().enumerate() {
            let Candidate { geometry, record_offset: offset, record_bytes: length } = *candidate;
            if length == 0 || !geometry.contains(offset, length) {
                let capacity = geometry.capacity_bytes();
                return Err(ChooseError::OutOfRange { index, offset, length, capacity });
            }
            if length > scratch.len() {
                return Err(ChooseError::ScratchTooSmall { needed: length });
            }
        }
        let cycle_us = candidates.iter().map(|candidate| candidate.geometry.write_cycle_us()).max().unwrap_or(0);
        let max_transfer_bytes = options.max_transfer_bytes;
        let (header, index, done, again, tried, fitting) = (0, 0, 0, false, 0, None);
        let choice = Self { candidates, max_transfer_bytes, longer, header, index, done, again, tried, fitting };
        Ok((choice, cycle_us))
    }

    /// The next read; `None` when all is said.
    pub(crate) fn step(&mut self) -> Option<Step> {
        loop {
            let Some(candidate) = self.candidates.get(self.index) else {
                let refused = self.tried > 0 && self.longer == LongerHeader::Refuse;
                if self.fitting.is_some() || refused || self.header >= 3 {
                    return None;
                }
                self.header = self.header.wrapping_add(1);
                self.index = 0;
                continue;
            };
            if candidate.geometry.word_address_bytes() != self.header {
                self.index = self.index.wrapping_add(1);
                continue;
            }
            let (start, left) = match self.again {
                true => (self.done.wrapping_sub(1), 1),
                false => (self.done, candidate.record_bytes.wrapping_sub(self.done)),
            };
            let offset = candidate.record_offset.wrapping_add(start as u32);
            match candidate.geometry.read_chunks(offset, left, self.max_transfer_bytes).next() {
                Some(chunk) => {
                    let place = Location { device_address: chunk.device_address, header: chunk.header };
                    let range = start..start.wrapping_add(chunk.range.len());
                    return Some(Step { place, range, again: self.again });
                }
                // The transfer limit leaves no room.
                None => self.next_candidate(),
            }
        }
    }

    /// Takes note of what came of a read: whether the part answered, and with which bytes.
    pub(crate) fn complete<E>(
        &mut self,
        step: &Step,
        answered: bool,
        scratch: &[u8],
        byte: u8,
        accepts: &mut impl FnMut(usize, &[u8]) -> bool,
    ) -> Result<(), ChooseError<E>> {
        let Some(candidate) = self.candidates.get(self.index) else { return Ok(()) };
        let record = scratch.get(..candidate.record_bytes).unwrap_or(scratch);
        if !answered || (self.again && record.get(step.range.start) != Some(&byte)) {
            self.next_candidate();
        } else if self.again {
            self.done = self.done.wrapping_sub(1);
            if self.done == 0 {
                let second = self.index;
                if let Some(first) = self.fitting.replace(second) {
                    return Err(ChooseError::Ambiguous { first, second });
                }
                self.next_candidate();
            }
        } else {
            self.done = step.range.end;
            if self.done == record.len() {
                // The second reading begins with the last byte.
                self.again = true;
                if !accepts(self.index, record) {
                    self.next_candidate();
                }
            }
        }
        Ok(())
    }

    fn next_candidate(&mut self) {
        self.tried = self.tried.saturating_add(1);
        self.index = self.index.wrapping_add(1);
        self.done = 0;
        self.again = false;
    }

    /// What was found.
    pub(crate) fn result<E>(&self) -> Result<usize, ChooseError<E>> {
        let untried = self.candidates.len().saturating_sub(self.tried);
        self.fitting.ok_or(ChooseError::NoneFits { untried })
    }
}

/// Whether the part answered; an error other than a missing ACK ends the search.
pub(super) fn answered<E: Error>(options: &Options, result: Result<(), E>) -> Result<bool, ChooseError<E>> {
    let Err(error) = result else { return Ok(true) };
    match error.kind() {
        ErrorKind::NoAcknowledge(_) => Ok(false),
        ErrorKind::Other if options.other_is_nack => Ok(false),
        _ => Err(ChooseError::Bus(error)),
    }
}

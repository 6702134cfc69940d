//! What the blocking and the async shell share: bytes for a step, meaning of a bus error.

use embedded_hal::i2c::{Error, ErrorKind};

use crate::address::Header;
use crate::options::Config;
use crate::plan::{Difference, Outcome, Plan, Step};

/// The bytes of a request.
pub(crate) struct Data<'a> {
    /// Where read bytes go.
    pub into: &'a mut [u8],
    /// Bytes to be written or compared.
    pub from: &'a [u8],
    /// 1, or 0 to take the first byte of `from` over and over.
    pub stride: usize,
}

impl<'a> Data<'a> {
    pub fn into(into: &'a mut [u8]) -> Self {
        Self { into, from: &[], stride: 1 }
    }

    pub fn from(from: &'a [u8]) -> Self {
        Self { into: &mut [], from, stride: 1 }
    }

    pub fn fill(byte: &'a u8) -> Self {
        Self { into: &mut [], from: core::slice::from_ref(byte), stride: 0 }
    }

    fn get(&self, index: usize) -> Option<u8> {
        self.from.get(index.wrapping_mul(self.stride)).copied()
    }

    /// The part of the request that a read fills.
    pub fn part(&mut self, step: &Step) -> Option<&mut [u8]> {
        self.into.get_mut(step.start..step.start.wrapping_add(step.length))
    }
}

/// Puts header and data side by side into the buffer; gives the bytes to be sent.
pub(crate) fn frame<'b>(buffer: &'b mut [u8], header: &Header, data: &Data, step: &Step) -> Option<&'b [u8]> {
    let frame = buffer.get_mut(..header.len().wrapping_add(step.length))?;
    let mut header = header.as_bytes().iter();
    let mut index = step.start;
    for to in frame.iter_mut() {
        *to = match header.next() {
            Some(byte) => *byte,
            None => {
                index = index.wrapping_add(1);
                data.get(index.wrapping_sub(1))?
            }
        };
    }
    Some(frame)
}

/// Compares what was read with the request.
pub(crate) fn compare(plan: &mut Plan<'_>, found: &[u8], data: &Data, start: usize) -> Outcome {
    let mut index = start;
    for &found in found {
        match data.get(index) {
            Some(expected) if expected == found => {}
            Some(expected) => {
                plan.found(Difference { index, expected, found });
                return Outcome::Differs;
            }
            None => return Outcome::Failed,
        }
        index = index.wrapping_add(1);
    }
    Outcome::Done
}

impl Config {
    /// Whether a current address read of this length is possible.
    pub(crate) fn check_current<E>(&self, length: usize) -> Result<(), crate::Error<E>> {
        if self.geometry.word_address_bytes() == 0 {
            return Err(crate::Error::Unsupported);
        }
        let capacity = self.geometry.capacity_bytes();
        let fits = self.geometry.contains(0, length);
        if fits { Ok(()) } else { Err(crate::Error::OutOfRange { offset: 0, length, capacity }) }
    }

    /// Bytes that one current address read may move: no header goes with it. At least 1.
    pub(crate) fn current_max(&self) -> usize {
        self.read_data_max.saturating_add(usize::from(self.geometry.word_address_bytes())).max(1)
    }

    /// The error of a current address read.
    pub(crate) fn current_error<E: Error>(&self, source: E, safe_bytes: usize) -> crate::Error<E> {
        match self.classify(&source) {
            Outcome::Nack => crate::Error::NotAnswering { source, safe_bytes },
            _ => crate::Error::Bus { source, safe_bytes },
        }
    }

    /// The meaning of a bus error.
    pub(crate) fn classify<E: Error>(&self, error: &E) -> Outcome {
        match error.kind() {
            ErrorKind::NoAcknowledge(_) => Outcome::Nack,
            ErrorKind::Other if self.other_is_nack => Outcome::Nack,
            _ => Outcome::Failed,
        }
    }
}

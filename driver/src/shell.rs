//! What the blocking and the async shell share: bytes for a step, meaning of a bus error.

use embedded_hal::i2c::{Error, ErrorKind};

use crate::address::{Header, Location};
use crate::options::Wait;
use crate::plan::{Difference, Outcome, Step};
use crate::{Geometry, Options, Policy};

/// The bytes of a request.
pub(crate) enum Data<'a> {
    /// Bytes to be read.
    Into(&'a mut [u8]),
    /// Bytes to be written or compared.
    From(&'a [u8]),
    /// The same byte, over and over.
    Fill(u8),
    /// None.
    None,
}

impl Data<'_> {
    fn get(&self, index: usize) -> Option<u8> {
        match self {
            Self::Into(bytes) => bytes.get(index).copied(),
            Self::From(bytes) => bytes.get(index).copied(),
            Self::Fill(byte) => Some(*byte),
            Self::None => None,
        }
    }

    /// The part of the request that a read fills.
    pub(crate) fn part(&mut self, start: usize, length: usize) -> Option<&mut [u8]> {
        let Self::Into(bytes) = self else { return None };
        bytes.get_mut(start..start.saturating_add(length))
    }
}

/// Puts header and data side by side into the buffer; gives the bytes to be sent.
pub(crate) fn frame<'b>(
    buffer: &'b mut [u8],
    header: &Header,
    data: &Data,
    start: usize,
    length: usize,
) -> Option<&'b [u8]> {
    let frame = buffer.get_mut(..header.len().saturating_add(length))?;
    for (to, from) in frame.iter_mut().zip(header.as_bytes()) {
        *to = *from;
    }
    for (index, to) in frame.iter_mut().skip(header.len()).enumerate() {
        *to = data.get(start.wrapping_add(index))?;
    }
    Some(frame)
}

/// Compares what was read with the request.
pub(crate) fn compare(found: &[u8], data: &Data, start: usize) -> Outcome {
    for (index, &found) in found.iter().enumerate() {
        let index = start.wrapping_add(index);
        let expected = data.get(index).unwrap_or(0xFF);
        if expected != found {
            return Outcome::Differs(Difference { index, expected, found });
        }
    }
    Outcome::Done
}

/// What a driver keeps between calls, apart from bus, delay and buffer.
#[derive(Debug, Clone, Copy)]
pub(crate) struct State {
    pub geometry: Geometry,
    pub policy: Policy,
    pub other_is_nack: bool,
    /// A write that may still be in its cycle: the next call polls here first.
    pub pending: Option<Location>,
    /// Device address of the last access.
    pub last_address: u8,
}

impl State {
    pub const fn new(geometry: Geometry, options: &Options, buffer_bytes: usize) -> Self {
        Self {
            geometry,
            policy: Policy::new(&geometry, options, buffer_bytes),
            other_is_nack: options.other_is_nack,
            pending: None,
            last_address: geometry.device_address(),
        }
    }

    /// Notes a step before it goes to the bus, so that a call that is dropped in the middle leaves the note.
    pub fn before(&mut self, step: &Step) {
        match *step {
            Step::Write { place, .. } => {
                self.last_address = place.device_address;
                if self.geometry.write_cycle_us() > 0 {
                    self.pending = Some(place);
                }
            }
            Step::Read { place, .. } | Step::Compare { place, .. } => self.last_address = place.device_address,
            Step::Poll { .. } | Step::Wait { .. } | Step::Done => {}
        }
    }

    /// Notes what came of it.
    pub fn after(&mut self, step: &Step, outcome: &Outcome) {
        let settled = match step {
            Step::Poll { .. } => true,
            Step::Wait { .. } => self.policy.wait == Wait::Fixed,
            _ => false,
        };
        if settled && *outcome == Outcome::Done {
            self.pending = None;
        }
    }

    /// The meaning of a bus error.
    pub fn classify<E: Error>(&self, error: &E) -> Outcome {
        match error.kind() {
            ErrorKind::NoAcknowledge(_) => Outcome::Nack,
            ErrorKind::Other if self.other_is_nack => Outcome::Nack,
            _ => Outcome::Failed,
        }
    }
}

//! What the blocking and the async shell share: bytes for a step, meaning of a bus error.

use embedded_hal::i2c::{Error, ErrorKind};

use crate::options::Config;
use crate::plan::{Action, Difference, Job, Outcome, Plan, Step};

/// What a call of the driver wants; bytes to be read have their place beside it.
#[derive(Clone, Copy)]
pub(crate) struct Request<'a> {
    pub job: Job,
    pub offset: u32,
    pub length: usize,
    /// Bytes to be written or compared.
    from: &'a [u8],
    /// 1, or 0 to take the first byte of `from` over and over.
    stride: usize,
    /// How to compare; there only for jobs that do, so that the code is left out of a firmware without them.
    pub compare: Option<Compare>,
}

type Compare = fn(&mut Plan<'_>, &[u8], &Request<'_>, usize) -> Outcome;

impl<'a> Request<'a> {
    /// A job that takes no bytes from the caller.
    pub(crate) const fn read(job: Job, offset: u32, length: usize) -> Self {
        Self { job, offset, length, from: &[], stride: 1, compare: None }
    }

    /// Bytes to be written.
    pub(crate) const fn write(offset: u32, from: &'a [u8]) -> Self {
        Self { job: Job::Write, offset, length: from.len(), from, stride: 1, compare: None }
    }

    /// Bytes to be compared, and perhaps written.
    pub(crate) fn compare(job: Job, offset: u32, from: &'a [u8]) -> Self {
        Self { job, offset, length: from.len(), from, stride: 1, compare: Some(compare) }
    }

    /// The same byte `length` times.
    pub(crate) const fn fill(offset: u32, length: usize, byte: &'a u8) -> Self {
        let from = core::slice::from_ref(byte);
        Self { job: Job::Write, offset, length, from, stride: 0, compare: None }
    }

    fn get(&self, index: usize) -> Option<u8> {
        self.from.get(index.wrapping_mul(self.stride)).copied()
    }
}

/// Puts header and data side by side into the buffer; gives the bytes to be sent.
pub(crate) fn frame<'b>(buffer: &'b mut [u8], header: &[u8], request: &Request<'_>, step: &Step) -> Option<&'b [u8]> {
    let frame = buffer.get_mut(..header.len().wrapping_add(step.length))?;
    let (head, data) = frame.split_at_mut_checked(header.len())?;
    for (to, from) in head.iter_mut().zip(header) {
        *to = *from;
    }
    let mut index = step.start;
    for to in data {
        *to = request.get(index)?;
        index = index.wrapping_add(1);
    }
    Some(frame)
}

/// Where the bytes of a read or comparison go: to the caller, or into the buffer.
pub(crate) fn target<'b>(buffer: &'b mut [u8], into: &'b mut [u8], step: &Step) -> Option<&'b mut [u8]> {
    match step.action {
        Action::Read => into.get_mut(step.start..step.start.wrapping_add(step.length)),
        _ => buffer.get_mut(..step.length),
    }
}

/// Compares what was read with the request.
fn compare(plan: &mut Plan<'_>, found: &[u8], request: &Request<'_>, start: usize) -> Outcome {
    let mut index = start;
    for &found in found {
        match request.get(index) {
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

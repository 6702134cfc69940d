//! What can go wrong, each with its numbers.

use core::fmt;

use crate::plan::{Difference, Failure, Plan, PlanError, State};

/// Error of a driver call; `E` is the HAL's own error, kept whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error<E> {
    /// The request does not lie inside the part; nothing was sent.
    OutOfRange {
        /// Requested offset.
        offset: u32,
        /// Requested bytes.
        length: usize,
        /// Capacity of the part in bytes.
        capacity: u32,
    },
    /// The driver's buffer does not hold header and page, which [`Options::with_split_pages`](crate::Options) allows, or
    /// buffer or transfer limit leave no room for one data byte beside the header; nothing was sent.
    BufferTooSmall {
        /// Bytes that are enough: header and page.
        needed: usize,
    },
    /// An erase or write of a `FlashLike` that is not made of whole units; nothing was sent.
    NotAligned {
        /// Requested offset.
        offset: u32,
        /// Requested bytes.
        length: usize,
        /// Bytes of a unit.
        unit: usize,
    },
    /// This part has no such operation; nothing was sent.
    Unsupported,
    /// No ACK within the bound, and no write of this driver was in its cycle: absent, unpowered, another address; with
    /// [`Wait::Fixed`](crate::Wait::Fixed) also a part that refuses the data.
    NotAnswering {
        /// What the HAL reported last.
        source: E,
        /// Bytes of the request known to be stored (or read).
        safe_bytes: usize,
    },
    /// The part answers but refuses the data of a page write.
    WriteProtected {
        /// Offset of the refused page write.
        offset: u32,
        /// Bytes of the request known to be stored.
        safe_bytes: usize,
        /// What the HAL reported for the refused write.
        source: E,
    },
    /// The part did not answer again within the bound after a write. The page in flight is indeterminate.
    WriteCycleOverrun {
        /// Polls, and accesses in their place, without an answer.
        polls: u32,
        /// Pauses between them, in microseconds; bus time comes on top.
        waited_us: u32,
        /// Bytes of the request known to be stored.
        safe_bytes: usize,
    },
    /// What was written reads back differently.
    Verify {
        /// Offset of the first wrong byte on the part.
        offset: u32,
        /// What was written.
        expected: u8,
        /// What was read back.
        found: u8,
        /// Bytes of the request known to be stored and verified.
        safe_bytes: usize,
    },
    /// The bus reported an error. In a write, the page behind the safe bytes and the one after it are indeterminate.
    Bus {
        /// What the HAL reported.
        source: E,
        /// Bytes of the request known to be stored (or read).
        safe_bytes: usize,
    },
    /// The write-protect pin could not be driven.
    WriteProtectPin {
        /// Bytes of the request known to be stored.
        safe_bytes: usize,
    },
    /// A fault of this crate; nothing is known about the request.
    OutOfStep,
}

impl<E> Error<E> {
    /// Bytes of the request, from its start, that are known to be stored (or read).
    pub const fn safe_bytes(&self) -> usize {
        match self {
            Self::OutOfRange { .. }
            | Self::BufferTooSmall { .. }
            | Self::NotAligned { .. }
            | Self::Unsupported
            | Self::OutOfStep => 0,
            Self::NotAnswering { safe_bytes, .. }
            | Self::WriteProtected { safe_bytes, .. }
            | Self::WriteCycleOverrun { safe_bytes, .. }
            | Self::Verify { safe_bytes, .. }
            | Self::WriteProtectPin { safe_bytes }
            | Self::Bus { safe_bytes, .. } => *safe_bytes,
        }
    }

    /// What the HAL reported, where it was the HAL.
    ///
    /// (The `source` of [`core::error::Error`] gives nothing: the errors of most HALs do not implement that trait.)
    ///
    /// ```
    /// # use pagewise_driver::Error;
    /// # use embedded_hal::i2c::ErrorKind;
    /// assert_eq!(Error::Bus { source: ErrorKind::ArbitrationLoss, safe_bytes: 0 }.source(), Some(&ErrorKind::ArbitrationLoss));
    /// assert_eq!(Error::<ErrorKind>::Unsupported.source(), None);
    /// ```
    pub const fn source(&self) -> Option<&E> {
        match self {
            Self::NotAnswering { source, .. } | Self::WriteProtected { source, .. } | Self::Bus { source, .. } => {
                Some(source)
            }
            _ => None,
        }
    }

    /// The same error of a request that is a part of a longer one: `by` more on the part, `done` bytes before.
    pub(crate) fn moved(mut self, by: u32, done: usize) -> Self {
        match &mut self {
            Self::WriteProtected { offset, .. } | Self::Verify { offset, .. } => *offset = offset.wrapping_add(by),
            _ => {}
        }
        match &mut self {
            Self::OutOfRange { .. }
            | Self::BufferTooSmall { .. }
            | Self::NotAligned { .. }
            | Self::Unsupported
            | Self::OutOfStep => {}
            Self::NotAnswering { safe_bytes, .. }
            | Self::WriteProtected { safe_bytes, .. }
            | Self::WriteCycleOverrun { safe_bytes, .. }
            | Self::Verify { safe_bytes, .. }
            | Self::WriteProtectPin { safe_bytes }
            | Self::Bus { safe_bytes, .. } => *safe_bytes = safe_bytes.wrapping_add(done),
        }
        self
    }

    /// What a verified write has found, whose plan says no more than that it failed: told here and not in
    /// [`Error::from_failure`], so that firmware without verified writes is spared the code.
    pub(crate) fn tell_difference(&mut self, state: &State, start: u32) {
        if let (Self::OutOfStep, Some(Difference { index, expected, found })) = (&self, state.difference()) {
            let offset = start.wrapping_add(index as u32);
            *self = Self::Verify { offset, expected, found, safe_bytes: state.last.wrapping_sub(start) as usize };
        }
    }

    /// Joins what the planner says and what the HAL said last.
    pub(crate) fn from_failure(plan: &mut Plan<'_>, failure: Failure, source: Option<E>) -> Self {
        plan.note_failure();
        let safe_bytes = plan.safe_bytes();
        match (failure, source) {
            (Failure::WriteCycleOverrun, _) => {
                Self::WriteCycleOverrun { polls: plan.polls(), waited_us: plan.waited_us(), safe_bytes }
            }
            (Failure::NotAnswering, Some(source)) => Self::NotAnswering { source, safe_bytes },
            (Failure::WriteProtected, Some(source)) => {
                Self::WriteProtected { offset: plan.position(), safe_bytes, source }
            }
            (Failure::Bus, Some(source)) => Self::Bus { source, safe_bytes },
            _ => Self::OutOfStep,
        }
    }
}

impl<E> From<PlanError> for Error<E> {
    fn from(error: PlanError) -> Self {
        match error {
            PlanError::OutOfRange { offset, length, capacity } => Self::OutOfRange { offset, length, capacity },
            PlanError::TransferTooSmall { needed } => Self::BufferTooSmall { needed },
        }
    }
}

impl<E: fmt::Debug> fmt::Display for Error<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { offset, length, capacity } => {
                write!(f, "out of range: {length} bytes at offset {offset:#06x}, capacity {capacity} bytes")
            }
            Self::BufferTooSmall { needed } => {
                write!(f, "buffer or transfer limit too small: header and page need {needed} bytes")
            }
            Self::NotAligned { offset, length, unit } => {
                write!(f, "not aligned: {length} bytes at offset {offset:#06x}, units of {unit} bytes")
            }
            Self::Unsupported => f.write_str("the part has no such operation"),
            Self::NotAnswering { source, safe_bytes } => {
                write!(f, "not answering, {safe_bytes} bytes safe: {source:?}")
            }
            Self::WriteProtected { offset, safe_bytes, source } => {
                write!(f, "write protected at offset {offset:#06x}, {safe_bytes} bytes safe: {source:?}")
            }
            Self::WriteCycleOverrun { polls, waited_us, safe_bytes } => {
                write!(f, "write cycle overrun: {polls} polls, {waited_us} us waited, {safe_bytes} bytes safe")
            }
            Self::Verify { offset, expected, found, safe_bytes } => write!(
                f,
                "verify: expected {expected:#04x}, found {found:#04x} at offset {offset:#06x}, {safe_bytes} bytes safe"
            ),
            Self::Bus { source, safe_bytes } => write!(f, "bus error, {safe_bytes} bytes safe: {source:?}"),
            Self::WriteProtectPin { safe_bytes } => {
                write!(f, "write-protect pin could not be driven, {safe_bytes} bytes safe")
            }
            Self::OutOfStep => f.write_str("driver out of step with its plan"),
        }
    }
}

impl<E: fmt::Debug> core::error::Error for Error<E> {}

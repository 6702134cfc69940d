//! What goes in and out of a plan: plain data.

/// What the shell has to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Action {
    /// One write call: the header of `offset`, then `length` bytes of the request from `start`, in one contiguous
    /// buffer.
    Write,
    /// One call that writes the header of `offset`, then reads `length` bytes to `start`; only reads where the header
    /// is empty.
    Read,
    /// As `Read`, into scratch memory; then a comparison with the bytes of the request.
    Compare,
    /// Write the header of `offset` without data; read one byte and drop it where the header is empty.
    Poll,
    /// Wait `us` microseconds.
    Wait,
    /// Nothing: the request is fulfilled.
    Done,
}

/// One step of a plan. Fields that an action does not name are of no meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Step {
    /// What to do.
    pub action: Action,
    /// Offset on the part; [`Geometry::locate`](crate::Geometry::locate) gives device address and header.
    pub offset: u32,
    /// First byte, counted from the start of the request.
    pub start: usize,
    /// Number of bytes, at least 1 for a write, read or comparison.
    pub length: usize,
    /// Microseconds to wait.
    pub us: u32,
}

/// What came of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// It worked; for a comparison: all bytes are equal.
    Done,
    /// A comparison found a difference; say which with [`Plan::found`](super::Plan::found) first.
    Differs,
    /// An ACK was missing.
    Nack,
    /// Any other bus error.
    Failed,
}

/// The first byte that is not what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Difference {
    /// Index of the byte, counted from the start of the request.
    pub index: usize,
    /// What the request says.
    pub expected: u8,
    /// What the part holds.
    pub found: u8,
}

impl Difference {
    /// The same difference in a longer request that has `start` bytes before.
    pub(crate) fn moved(self, start: usize) -> Self {
        Self { index: self.index.wrapping_add(start), ..self }
    }
}

/// Why a plan ended without fulfilling its request. The numbers are asked from the [`Plan`](super::Plan).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Failure {
    /// No ACK within the bound, and no write of this driver was in its cycle; with
    /// [`Wait::Fixed`](crate::Wait::Fixed) also data that the part refuses.
    NotAnswering,
    /// The part answers but refuses the data of the page write at [`Plan::position`](super::Plan::position).
    WriteProtected,
    /// No ACK within the bound after a write: [`Plan::polls`](super::Plan::polls) and
    /// [`Plan::waited_us`](super::Plan::waited_us).
    WriteCycleOverrun,
    /// The bus reported an error, or a missing ACK where the part had just answered.
    Bus,
    /// What was written reads back differently: [`Plan::difference`](super::Plan::difference).
    Differs,
    /// The outcome does not fit the step; a fault of the shell.
    OutOfStep,
}

/// Why a plan could not be made; nothing was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PlanError {
    /// The request does not lie inside the part.
    OutOfRange {
        /// Requested offset.
        offset: u32,
        /// Requested bytes.
        length: usize,
        /// Capacity of the part in bytes.
        capacity: u32,
    },
    /// The buffer does not hold header and page, or no data byte fits beside the header.
    TransferTooSmall {
        /// Bytes that are enough.
        needed: usize,
    },
}

/// What is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Job {
    /// Read into the request's bytes.
    Read,
    /// Write the request's bytes.
    Write,
    /// Write, and read each page back after its write cycle.
    WriteVerified,
    /// Read and compare; ends at the first difference.
    Compare,
    /// Compare page by page and write only the pages that differ. A page that a loss of supply has cut may read right
    /// now and wrong later: only for bytes that are known to have been stored completely.
    Update,
    /// Wait until the part answers; moves no bytes.
    Ready,
}

//! The habits of HALs, one by one.

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};

use crate::bus::BusFault;

/// What a HAL calls a missing acknowledge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum NackKind {
    /// `NoAcknowledge(Address)` or `NoAcknowledge(Data)`, as it was.
    #[default]
    Exact,
    /// Always `NoAcknowledge(Address)`.
    Address,
    /// Always `NoAcknowledge(Data)`.
    Data,
    /// Always `NoAcknowledge(Unknown)`.
    Unknown,
    /// `Other`.
    Other,
    /// `Bus`.
    Bus,
    /// `NoAcknowledge(Address)` for the device address, `Other` for a data byte.
    DataAsOther,
}

impl NackKind {
    /// What a missing acknowledge at `place` is called.
    pub(super) const fn kind(self, place: NoAcknowledgeSource) -> ErrorKind {
        match (self, place) {
            (Self::Address, _) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            (Self::Data, _) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            (Self::Unknown, _) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            (Self::Other, _) | (Self::DataAsOther, NoAcknowledgeSource::Data) => ErrorKind::Other,
            (Self::Bus, _) => ErrorKind::Bus,
            (Self::Exact | Self::DataAsOther, _) => ErrorKind::NoAcknowledge(place),
        }
    }
}

/// What a HAL makes of two adjacent writes in one transaction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AdjacentWrites {
    /// One run of bytes, as the contract of embedded-hal says.
    #[default]
    Joined,
    /// A repeated START and the device address between them.
    Restart,
    /// STOP, START and the device address between them.
    StopBetween,
    /// An error of kind `Other`, nothing on the bus.
    Refused,
}

/// What a HAL makes of a transfer without bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ZeroLength {
    /// The device address is sent, and its acknowledge counts.
    #[default]
    Sent,
    /// An error of kind `Other`, nothing on the bus.
    Refused,
    /// Success, nothing on the bus.
    Ignored,
    /// Success without anything on the bus for reads; writes are sent.
    ReadsIgnored,
    /// The call never returns. The blocking controller gives up after a virtual second with [`BusFault::Hung`], so that
    /// a test can see it; the future of the async controller stays pending.
    ///
    /// [`BusFault::Hung`]: crate::BusFault::Hung
    Hung,
}

/// What a HAL does with more bytes than it can move at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OverLimit {
    /// An error of kind `Other`, nothing on the bus.
    #[default]
    Refuse,
    /// An error of kind `Bus`, nothing on the bus.
    RefuseAsBus,
    /// A repeated START and the device address after each full piece.
    SplitRestart,
    /// STOP, START and the device address after each full piece.
    SplitStop,
}

/// What a HAL puts between a write and a read of one transaction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DirectionChange {
    /// A repeated START.
    #[default]
    RepeatedStart,
    /// STOP, then START.
    StopStart,
}

/// What becomes of the bus when the future of a transaction is dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Cancelled {
    /// The controller ends the transfer with STOP where it is.
    #[default]
    StopSent,
    /// The controller is left hanging in the transfer: every call fails until the bus is recovered.
    Hung,
}

/// Habits of a HAL; the default is the contract of embedded-hal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Quirks {
    /// Error kind of a missing acknowledge.
    pub nack: NackKind,
    /// Two writes in a row.
    pub adjacent_writes: AdjacentWrites,
    /// Transfers without bytes.
    pub zero_length: ZeroLength,
    /// Bytes after the device address that one direction can move at once; `None` for any number.
    pub max_transfer: Option<usize>,
    /// What happens beyond `max_transfer`.
    pub over_limit: OverLimit,
    /// An empty list of operations is an error of kind `Bus` instead of a success.
    pub empty_list_fails: bool,
    /// Only one read per transaction, and only last; anything else is an error of kind `Other`.
    pub one_read_last: bool,
    /// Between a write and a read.
    pub direction_change: DirectionChange,
    /// The length of a read is cut to 16 bits: 65536 bytes are taken as none, and the call succeeds.
    pub read_length_is_u16: bool,
    /// Every n-th call finds the bus taken by somebody else: an error of kind `Other`, nothing on the bus. 0 for never.
    pub busy_every: u32,
    /// Calls return before STOP: it comes this much later than it should, in nanoseconds. 0 for never.
    pub early_return_ns: u32,
    /// A dropped future.
    pub cancelled: Cancelled,
}

impl Quirks {
    /// What this HAL calls a fault.
    pub(super) fn kind(&self, fault: BusFault) -> ErrorKind {
        match fault {
            BusFault::AddressNack => self.nack.kind(NoAcknowledgeSource::Address),
            BusFault::DataNack { .. } => self.nack.kind(NoAcknowledgeSource::Data),
            BusFault::SdaHeld | BusFault::NoSupply | BusFault::EmptyList | BusFault::Hung => ErrorKind::Bus,
            BusFault::TooLong { .. } if self.over_limit == OverLimit::RefuseAsBus => ErrorKind::Bus,
            _ => ErrorKind::Other,
        }
    }
}

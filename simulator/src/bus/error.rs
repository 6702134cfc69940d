//! Why a bus call failed.

use core::fmt;

use embedded_hal::i2c::ErrorKind;

/// Why a bus call failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum BusFault {
    /// Nobody answered the device address.
    AddressNack,
    /// A byte was not acknowledged; `byte` counts from 0 after the device address.
    DataNack {
        /// Its number.
        byte: usize,
    },
    /// A device address above 0x7F: nothing was sent.
    AddressOutOfRange(u8),
    /// A transfer without bytes, which this HAL refuses: nothing was sent.
    ZeroLength,
    /// More bytes than this HAL can move: nothing was sent.
    TooLong {
        /// Bytes asked for.
        len: usize,
        /// The most it can move.
        limit: usize,
    },
    /// SDA is held low: no START or STOP is possible.
    SdaHeld,
    /// There is no supply: nothing pulls the lines up.
    NoSupply,
    /// This HAL cannot do this sequence of operations: nothing was sent.
    Unsupported,
    /// An empty list of operations, which this HAL refuses.
    EmptyList,
    /// Somebody else has the bus: nothing was sent.
    Taken,
    /// The controller hangs.
    Hung,
}

/// Error of [`RigBus`](crate::RigBus).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BusError {
    /// What happened.
    pub fault: BusFault,
    pub(crate) kind: ErrorKind,
}

impl fmt::Display for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.fault {
            BusFault::AddressNack => f.write_str("device address not acknowledged"),
            BusFault::DataNack { byte } => write!(f, "byte {byte} not acknowledged"),
            BusFault::AddressOutOfRange(address) => write!(f, "0x{address:02X} is not a 7-bit device address"),
            BusFault::ZeroLength => f.write_str("transfer without bytes refused"),
            BusFault::TooLong { len, limit } => write!(f, "transfer of {len} bytes, at most {limit}"),
            BusFault::SdaHeld => f.write_str("SDA is held low"),
            BusFault::NoSupply => f.write_str("no supply"),
            BusFault::Unsupported => f.write_str("sequence of operations not supported"),
            BusFault::EmptyList => f.write_str("empty list of operations"),
            BusFault::Taken => f.write_str("bus taken"),
            BusFault::Hung => f.write_str("controller hangs"),
        }
    }
}

impl core::error::Error for BusError {}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.kind
    }
}

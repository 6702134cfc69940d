//! Error numbers as the kernel's I2C layer gives them.

use pagewise_simulator::{BusError, BusFault};

/// An error number of Linux.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Errno(pub(crate) i32);

/// What went wrong on the bus, before it becomes a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// Nobody answered the device address.
    AddressNack,
    /// A byte was not acknowledged.
    DataNack,
    /// A line is held low, or there is no supply to pull it up.
    Stuck,
    /// A block length that the SMBus does not allow.
    Protocol,
}

impl Trouble {
    /// As i2c-algo-bit and most adapters say it, or as those adapters that know only EREMOTEIO.
    pub(crate) fn errno(self, nack_is_eremoteio: bool) -> Errno {
        Errno(match self {
            Self::AddressNack | Self::DataNack if nack_is_eremoteio => libc::EREMOTEIO,
            Self::AddressNack => libc::ENXIO,
            Self::DataNack => libc::EIO,
            Self::Stuck => libc::EBUSY,
            Self::Protocol => libc::EPROTO,
        })
    }
}

impl From<BusError> for Trouble {
    fn from(error: BusError) -> Self {
        match error.fault {
            BusFault::AddressNack => Self::AddressNack,
            BusFault::DataNack { .. } => Self::DataNack,
            _ => Self::Stuck,
        }
    }
}

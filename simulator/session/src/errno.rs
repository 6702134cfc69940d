//! Error numbers as the kernel's I2C layer gives them.

use pagewise_simulator::{BusError, BusFault};
use rustix::io::Errno;

use crate::plan::Nack;

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
    /// The adapter cannot do it.
    NotSupported,
    /// The file was opened without the right.
    NoRight,
}

impl Trouble {
    /// As i2c-algo-bit and most adapters say it, or as those do that know one number only.
    pub(crate) fn errno(self, nack: Nack) -> i32 {
        let errno = match (self, nack) {
            (Self::AddressNack | Self::DataNack, Nack::Eremoteio) => Errno::REMOTEIO,
            (Self::AddressNack, Nack::Enxio) => Errno::NXIO,
            (Self::AddressNack | Self::DataNack, _) => Errno::IO,
            (Self::Stuck, _) => Errno::BUSY,
            (Self::Protocol, _) => Errno::PROTO,
            (Self::NotSupported, _) => Errno::OPNOTSUPP,
            (Self::NoRight, _) => Errno::BADF,
        };
        errno.raw_os_error()
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

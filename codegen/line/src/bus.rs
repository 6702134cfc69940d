//! The bus of the line: simulated, or a Linux device. Both look the same to everything else.

use std::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, Operation};

use super::bench::Bench;

/// What a bus said, kept as kind and text so that both buses share one type.
#[derive(Clone, PartialEq, Eq)]
pub struct LineError {
    /// Kind as the driver judges it.
    pub kind: ErrorKind,
    /// The words of the bus.
    pub text: String,
}

/// The driver shows the errors of a bus in this form to people.
impl fmt::Debug for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::error::Error for LineError {}

impl Error for LineError {
    fn kind(&self) -> ErrorKind {
        self.kind
    }
}

/// A bus on which a part is programmed.
pub enum LineBus {
    /// A simulated chip.
    Simulated(Box<Bench>),
    /// A device of the Linux kernel.
    #[cfg(target_os = "linux")]
    Linux(super::linux::Device),
}

impl LineBus {
    /// How the journal calls this bus.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Simulated(_) => "simulated",
            #[cfg(target_os = "linux")]
            Self::Linux(device) => device.path(),
        }
    }

    /// Delays on the clock of this bus.
    #[must_use]
    pub fn delay(&self) -> LineDelay {
        match self {
            Self::Simulated(bench) => LineDelay::Simulated(bench.delay()),
            #[cfg(target_os = "linux")]
            Self::Linux(_) => LineDelay::Real,
        }
    }

    /// Time that has passed on a simulated bus, in microseconds.
    #[must_use]
    pub fn simulated_us(&self) -> Option<u64> {
        match self {
            Self::Simulated(bench) => Some(bench.now_us()),
            #[cfg(target_os = "linux")]
            Self::Linux(_) => None,
        }
    }
}

impl ErrorType for LineBus {
    type Error = LineError;
}

impl I2c for LineBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), LineError> {
        match self {
            Self::Simulated(bench) => bench.transaction(address, operations),
            #[cfg(target_os = "linux")]
            Self::Linux(device) => device.transaction(address, operations),
        }
    }
}

/// Delays of the line.
#[derive(Debug, Clone)]
pub enum LineDelay {
    /// On the simulated clock.
    Simulated(super::bench::BenchDelay),
    /// The thread sleeps.
    Real,
}

impl DelayNs for LineDelay {
    fn delay_ns(&mut self, ns: u32) {
        match self {
            Self::Simulated(delay) => delay.delay_ns(ns),
            Self::Real => std::thread::sleep(std::time::Duration::from_nanos(u64::from(ns))),
        }
    }
}

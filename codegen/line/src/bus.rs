//! The bus of the line: simulated, or a Linux device. Both look the same to everything else.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorType, I2c, Operation};

use super::bench::Bench;
use super::error::LineError;
use super::journal::{Journal, Site};

/// What the simulated bus is called.
pub const SIMULATED: &str = "simulated";

/// A bus on which a part is programmed.
pub enum LineBus {
    /// A simulated chip.
    Simulated(Box<Bench>),
    /// A device of the Linux kernel.
    Linux(super::linux::Device),
}

impl LineBus {
    /// How the journal calls this place.
    #[must_use]
    pub fn site(&self, journal: &Journal) -> Site {
        match self {
            Self::Simulated(bench) => Site {
                bus: SIMULATED.to_owned(),
                simulated: true,
                memory: bench.memory_file().map(|file| journal.stored(file)),
            },
            Self::Linux(device) => Site { bus: device.path().to_owned(), simulated: false, memory: None },
        }
    }

    /// Delays on the clock of this bus.
    #[must_use]
    pub fn delay(&self) -> LineDelay {
        match self {
            Self::Simulated(bench) => LineDelay::Simulated(bench.delay()),
            Self::Linux(_) => LineDelay::Real,
        }
    }

    /// Time that has passed on a simulated bus, in microseconds.
    #[must_use]
    pub fn simulated_us(&self) -> Option<u64> {
        match self {
            Self::Simulated(bench) => Some(bench.now_us()),
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

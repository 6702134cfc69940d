//! A bus, a delay and a pin that do next to nothing, but nothing that the compiler could leave out.

use core::cell::Cell;
use core::convert::Infallible;
use core::hint::black_box;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

/// What the stub reports.
#[derive(Debug, Clone, Copy)]
pub enum BusError {
    /// An ACK is missing.
    Nack,
    /// Anything else.
    Other,
}

impl Error for BusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Nack => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::Other => ErrorKind::Bus,
        }
    }
}

/// So many transfers work, so many are not acknowledged, so many fail; then from the start.
#[derive(Debug, Clone, Copy)]
pub struct Script {
    works: u16,
    refused: u16,
    fails: u16,
    at: u16,
}

impl Script {
    /// A script at its beginning.
    pub const fn new(works: u16, refused: u16, fails: u16) -> Self {
        Self { works, refused, fails, at: 0 }
    }

    fn next(&mut self) -> Result<(), BusError> {
        let Self { works, refused, fails, at } = *self;
        self.at = if at + 1 < works + refused + fails { at + 1 } else { 0 };
        if at < works {
            Ok(())
        } else if at < works + refused {
            Err(BusError::Nack)
        } else {
            Err(BusError::Other)
        }
    }
}

/// A bus that follows a script, which lies outside since the driver owns its bus.
#[derive(Debug)]
pub struct StubBus<'s>(pub &'s Cell<Script>);

impl StubBus<'_> {
    /// One transfer. Not inlined, as the bus code of a HAL is not.
    #[inline(never)]
    fn transfer(&mut self, address: u8, bytes: &[u8], into: &mut [u8]) -> Result<(), BusError> {
        black_box((address, bytes));
        black_box(into);
        let mut script = self.0.get();
        let result = script.next();
        self.0.set(script);
        result
    }
}

impl ErrorType for StubBus<'_> {
    type Error = BusError;
}

impl I2c for StubBus<'_> {
    fn read(&mut self, address: u8, into: &mut [u8]) -> Result<(), BusError> {
        self.transfer(address, &[], into)
    }

    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), BusError> {
        self.transfer(address, bytes, &mut [])
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], into: &mut [u8]) -> Result<(), BusError> {
        self.transfer(address, bytes, into)
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), BusError> {
        // Neither the driver nor the image without it uses it.
        Err(BusError::Other)
    }
}

/// A delay that returns at once.
#[derive(Debug)]
pub struct StubDelay;

impl DelayNs for StubDelay {
    #[inline(never)]
    fn delay_ns(&mut self, ns: u32) {
        black_box(ns);
    }

    #[inline(never)]
    fn delay_us(&mut self, us: u32) {
        black_box(us);
    }
}

#[cfg(feature = "everything")]
impl embedded_hal_async::i2c::I2c for StubBus<'_> {
    async fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        black_box(operations);
        self.transfer(address, &[], &mut [])
    }
}

#[cfg(feature = "everything")]
impl embedded_hal_async::delay::DelayNs for StubDelay {
    async fn delay_ns(&mut self, ns: u32) {
        black_box(ns);
    }
}

/// A pin that is always high.
#[derive(Debug)]
pub struct StubPin;

impl digital::ErrorType for StubPin {
    type Error = Infallible;
}

impl OutputPin for StubPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        black_box(&self);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        black_box(&self);
        Ok(())
    }
}

impl InputPin for StubPin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(true))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(false))
    }
}

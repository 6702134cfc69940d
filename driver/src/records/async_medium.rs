//! What the records of async code are kept on.

use embedded_hal::digital::OutputPin;
use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use crate::asynch::AsyncEeprom;
use crate::chips::Chips;
use crate::error::Error;
use crate::protect::Protected;

/// As [`Medium`](super::Medium), for async code: [`AsyncEeprom`], [`Protected`] or [`Chips`].
// As in embedded-hal-async: whether a future can be sent to another thread is left to the medium.
#[allow(async_fn_in_trait)]
pub trait AsyncMedium {
    /// Error of an access.
    type Error;

    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error>;

    /// Writes `bytes` at `offset`. `Ok` must mean that they are stored, their write cycles over, and read back well. A
    /// call that is dropped must leave bytes outside of the request alone.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error>;
}

impl<M: AsyncMedium> AsyncMedium for &mut M {
    type Error = M::Error;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        M::read(self, offset, bytes).await
    }

    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        M::store(self, offset, bytes).await
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncMedium for AsyncEeprom<I2C, D, BUF> {
    type Error = Error<I2C::Error>;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes).await
    }

    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes).await
    }
}

impl<I2C: I2c, D: DelayNs, P: OutputPin, const BUF: usize> AsyncMedium for Protected<AsyncEeprom<I2C, D, BUF>, P> {
    type Error = Error<I2C::Error>;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes).await
    }

    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes).await
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize, const N: usize> AsyncMedium for Chips<AsyncEeprom<I2C, D, BUF>, N> {
    type Error = Error<I2C::Error>;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.read(offset, bytes).await
    }

    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes).await
    }
}

//! The verbs for async code.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::{ErrorType, I2c};

use super::Extent;
use crate::asynch::AsyncEeprom;
use crate::error::Error;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

/// As [`Memory`](super::Memory), for async code: [`AsyncEeprom`], [`Protected`](crate::Protected),
/// [`Chips`](crate::Chips).
// As in embedded-hal-async: whether a future can be sent to another thread is left to the memory.
#[allow(async_fn_in_trait)]
pub trait AsyncMemory: Extent {
    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteCycleOverrun`] (an earlier write never ended), [`Error::Bus`].
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for its
    ///   write cycle first.
    ///
    /// # Errors
    ///
    /// Those of `read`, and [`Error::WriteProtected`]; of a [`Protected`](crate::Protected) memory
    /// [`Error::WriteProtectPin`]. [`Error::safe_bytes`] says how many bytes, from the start, are known to be stored; the
    /// page after them is indeterminate.
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// As `write`, and reads each page back after its write cycle. Finds a protected part that ACKs data and drops it.
    ///
    /// - **Power loss**: as of `write`.
    /// - **Cancelled**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `write`, and [`Error::Verify`].
    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `length` times the same byte at `offset`, page by page.
    ///
    /// - **Power loss**: as of `write`.
    /// - **Cancelled**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `write`.
    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>>;

    /// Compares the memory with `bytes`, reading up to the first difference. A page that was cut by a loss of supply may
    /// read right now and wrong later.
    ///
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of `read`. A difference is a result, not an error.
    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>>;

    /// Makes the memory hold `bytes` at `offset`, and writes no page that holds them already: as far as `trust` vouches
    /// for it. All other pages are written without a look. See [`Trust`].
    ///
    /// - **Power loss**: as of `write`; pages that are kept are not touched.
    /// - **Cancelled**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `read` and `write`.
    async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>>;

    /// As `update`, for firmware that knows that no write to these bytes was ever cut by a loss of supply: each page that
    /// reads right is kept.
    ///
    /// - **Power loss**: as of `update`.
    /// - **Cancelled**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `read` and `write`.
    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// Waits until the part answers, of several chips each: for the write that an earlier call left in its cycle, or else
    /// at its first address.
    ///
    /// - **Power loss**: changes nothing; it tells nothing about a write before it.
    /// - **Cancelled**: leaves nothing behind; the next call waits anew.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>>;

    /// Lets so many microseconds pass, with the driver's own delay. Sends nothing.
    async fn pause_us(&mut self, us: u32);
}

impl<M: AsyncMemory + ?Sized> AsyncMemory for &mut M {
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        M::read(self, offset, bytes).await
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        M::write(self, offset, bytes).await
    }

    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        M::write_verified(self, offset, bytes).await
    }

    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        M::fill(self, offset, length, byte).await
    }

    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        M::compare(self, offset, bytes).await
    }

    async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        M::update(self, offset, bytes, trust).await
    }

    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        M::update_trusting(self, offset, bytes).await
    }

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        M::wait_ready(self).await
    }

    async fn pause_us(&mut self, us: u32) {
        M::pause_us(self, us).await;
    }
}

impl<I2C: ErrorType, D, const BUF: usize> Extent for AsyncEeprom<I2C, D, BUF> {
    type BusError = I2C::Error;

    fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncMemory for AsyncEeprom<I2C, D, BUF> {
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        Self::read(self, offset, bytes).await
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        Self::write(self, offset, bytes).await
    }

    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        Self::write_verified(self, offset, bytes).await
    }

    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        Self::fill(self, offset, length, byte).await
    }

    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        Self::compare(self, offset, bytes).await
    }

    async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        Self::update(self, offset, bytes, trust).await
    }

    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        Self::update_trusting(self, offset, bytes).await
    }

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        Self::wait_ready(self).await
    }

    async fn pause_us(&mut self, us: u32) {
        self.delay.delay_us(us).await;
    }
}

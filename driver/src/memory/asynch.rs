//! The verbs for async code.

use super::{Extent, inside};
use crate::error::Error;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

/// As [`Memory`](super::Memory), for async code: [`AsyncEeprom`](crate::AsyncEeprom), [`Protected`](crate::Protected),
/// [`Chips`](crate::Chips), [`InRegion`](crate::InRegion). What a call sends, what may fail, and what a loss of supply
/// leaves is said there; here, what is left where a call is dropped.
// As in embedded-hal-async: whether a future can be sent to another thread is left to the memory.
#[allow(async_fn_in_trait)]
pub trait AsyncMemory: Extent {
    /// As [`Memory::read`](super::Memory::read).
    ///
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// As there.
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::write`](super::Memory::write).
    ///
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for its write
    ///   cycle first.
    ///
    /// # Errors
    ///
    /// As there.
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::write_verified`](super::Memory::write_verified).
    ///
    /// - **Cancelled**: as of [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::fill`](super::Memory::fill).
    ///
    /// - **Cancelled**: as of [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::compare`](super::Memory::compare).
    ///
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// As there.
    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>>;

    /// As [`Memory::update`](super::Memory::update).
    ///
    /// - **Cancelled**: as of [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        inside(self.capacity(), offset, bytes.len())?;
        trust.renew(self.failures());
        let (mut total, mut done) = (Updated::default(), 0usize);
        while let Some(piece) = trust.piece(offset, bytes.len(), done) {
            let end = done.wrapping_add(piece.length);
            let Some(part) = bytes.get(done..end) else { return Err(Error::OutOfStep) };
            let updated = match piece.trusted {
                true => self.update_trusting(piece.offset, part).await,
                false => self.update_suspect(piece.offset, part).await,
            };
            total = total.plus(updated.map_err(|error| error.moved(0, done))?);
            trust.add(piece.offset, piece.length);
            done = end;
        }
        Ok(total)
    }

    /// As [`Memory::update_trusting`](super::Memory::update_trusting).
    ///
    /// - **Cancelled**: as of [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// As [`Memory::update_suspect`](super::Memory::update_suspect).
    ///
    /// - **Cancelled**: as of [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    async fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// As [`Memory::wait_ready`](super::Memory::wait_ready).
    ///
    /// - **Cancelled**: leaves nothing behind; the next call waits anew.
    ///
    /// # Errors
    ///
    /// As there.
    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::pause_us`](super::Memory::pause_us).
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

    async fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        M::update_suspect(self, offset, bytes).await
    }

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        M::wait_ready(self).await
    }

    async fn pause_us(&mut self, us: u32) {
        M::pause_us(self, us).await;
    }
}

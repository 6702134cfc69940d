//! What the records of async code are kept on.

use crate::error::Error;
use crate::memory::AsyncMemory;

/// As [`Medium`](super::Medium), for async code: any [`AsyncMemory`].
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

impl<M: AsyncMemory> AsyncMedium for M {
    type Error = Error<M::BusError>;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        AsyncMemory::read(self, offset, bytes).await
    }

    async fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes).await
    }
}

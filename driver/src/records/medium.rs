//! What the records are kept on.

use crate::error::Error;
use crate::memory::Memory;

/// What records can be kept on: any [`Memory`], also behind a `&mut`; or something of your own.
pub trait Medium {
    /// Error of an access.
    type Error;

    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error>;

    /// Writes `bytes` at `offset`. `Ok` must mean that they are stored, their write cycles over, and read back well.
    ///
    /// # Errors
    ///
    /// Whatever the medium reports.
    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error>;
}

impl<M: Memory> Medium for M {
    type Error = Error<M::BusError>;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        Memory::read(self, offset, bytes)
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.write_verified(offset, bytes)
    }
}

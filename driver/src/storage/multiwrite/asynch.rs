//! A flash that may be written twice, in async code.

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash, ReadNorFlash};

use super::MultiwriteFlash;
#[cfg(doc)]
use crate::error::Error;
use crate::memory::AsyncMemory;
use crate::storage::check_write;

impl<T: AsyncMemory, const WRITE: usize, const ERASE: usize> ReadNorFlash for MultiwriteFlash<T, WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.flash.read(offset, bytes).await
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<T: AsyncMemory, const WRITE: usize, const ERASE: usize> NorFlash for MultiwriteFlash<T, WRITE, ERASE> {
    const WRITE_SIZE: usize = WRITE;
    const ERASE_SIZE: usize = ERASE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.flash.erase(from, to).await
    }

    /// Reads each unit, clears the bits that are zero in `bytes`, and writes it, whatever it has read: a unit
    /// that a loss of supply has cut may read right now and wrong later.
    ///
    /// - **On the wire**, per unit: `S 50W+ 01+ 23+ Sr 50R+ FF+ FF- P`, `S 50W+ 01+ 23+ AB+ CD+ P`, polled for.
    /// - **Power loss**: units before the one in its write cycle are stored, units after it are as they were; that one may
    ///   hold old, new or other bytes.
    /// - **Cancelled**: units before the one under way are stored, that one is stored or not; the next call waits for its
    ///   write cycle first.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise those of [`AsyncMemory::write`].
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(WRITE, offset, bytes.len())?;
        let mut at = offset;
        for (done, unit) in bytes.chunks(WRITE).enumerate() {
            let mut cleared = [0; WRITE];
            let result = match clear(&mut self.flash, at, unit, &mut cleared).await {
                Ok(()) => NorFlash::write(&mut self.flash, at, &cleared).await,
                Err(error) => Err(error),
            };
            result.map_err(|error| error.moved(0, done.saturating_mul(WRITE)))?;
            at = at.wrapping_add(WRITE as u32);
        }
        Ok(())
    }
}

impl<T: AsyncMemory, const WRITE: usize, const ERASE: usize> MultiwriteNorFlash for MultiwriteFlash<T, WRITE, ERASE> {}

/// Reads a unit and clears the bits of it that are zero in `unit`.
async fn clear<F: ReadNorFlash>(flash: &mut F, at: u32, unit: &[u8], into: &mut [u8]) -> Result<(), F::Error> {
    flash.read(at, into).await?;
    for (byte, mask) in into.iter_mut().zip(unit) {
        *byte &= mask;
    }
    Ok(())
}

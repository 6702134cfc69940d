//! The traits of `embedded-io-async`.

use embedded_io::SeekFrom;
use embedded_io_async::{Read, Seek, Write};

use super::Cursor;
use crate::error::Error;
use crate::memory::AsyncMemory;

impl<T: AsyncMemory> Read for Cursor<'_, T> {
    /// [`AsyncMemory::read`] from the position to the end of the part at most; 0 bytes at the end.
    ///
    /// - **Cancelled**: as there; the position has not moved.
    ///
    /// # Errors
    ///
    /// As there.
    async fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Self::Error> {
        let room = self.room(buffer.len());
        let Some(part) = buffer.get_mut(..room) else { return Err(Error::OutOfStep) };
        self.eeprom.read(self.position, part).await?;
        Ok(self.moved(room))
    }
}

impl<T: AsyncMemory> Write for Cursor<'_, T> {
    /// [`AsyncMemory::write`] from the position to the end of the part at most.
    ///
    /// - **Cancelled**: as there; the position has not moved.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`] at the end of the part; otherwise as there. After an error the position has not moved.
    async fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        let part = self.fitting(bytes)?;
        self.eeprom.write(self.position, part).await?;
        Ok(self.moved(part.len()))
    }

    /// [`AsyncMemory::wait_ready`]: everything that was written is stored when it returns.
    ///
    /// # Errors
    ///
    /// As there.
    async fn flush(&mut self) -> Result<(), Self::Error> {
        self.eeprom.wait_ready().await
    }
}

impl<T: AsyncMemory> Seek for Cursor<'_, T> {
    /// Moves the position.
    ///
    /// - **On the wire**: nothing.
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`] before the start (its offset is then `u32::MAX`) and beyond the end; the position stays.
    async fn seek(&mut self, to: SeekFrom) -> Result<u64, Self::Error> {
        self.position = self.sought(to)?;
        Ok(u64::from(self.position))
    }
}

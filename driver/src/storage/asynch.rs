//! The traits of `embedded-storage-async`.

use embedded_storage_async::nor_flash::{NorFlash, ReadNorFlash};
use embedded_storage_async::{ReadStorage, Storage};

use super::{FlashLike, check_write, erase_length};
use crate::asynch::AsyncEeprom;
use crate::chips::Chips;
use crate::error::Error;
use crate::memory::{AsyncMemory, Extent};
use crate::protect::Protected;
use crate::region::InRegion;

/// The traits for any offset and length; for each type by itself, since they are another crate's.
macro_rules! any_offset_async {
    ([$($generics:tt)*] $memory:ty) => {
        impl<$($generics)*> ReadStorage for $memory
        where
            $memory: AsyncMemory,
        {
            type Error = Error<<$memory as Extent>::BusError>;

    /// [`AsyncMemory::read`]: any offset, any length.
    ///
    /// # Errors
    ///
    /// As there.
            async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
                AsyncMemory::read(self, offset, bytes).await
            }

            fn capacity(&self) -> usize {
                usize::try_from(Extent::capacity(self)).unwrap_or(usize::MAX)
            }
        }

        impl<$($generics)*> Storage for $memory
        where
            $memory: AsyncMemory,
        {
    /// [`AsyncMemory::write`]: any offset, any length, nothing is read first.
    ///
    /// # Errors
    ///
    /// As there.
            async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
                AsyncMemory::write(self, offset, bytes).await
            }
        }
    };
}

any_offset_async!([I2C: embedded_hal_async::i2c::I2c, D, const BUF: usize] AsyncEeprom<I2C, D, BUF>);
any_offset_async!(['e, I2C: embedded_hal_async::i2c::I2c, D, const BUF: usize] InRegion<'e, AsyncEeprom<I2C, D, BUF>>);
any_offset_async!([T: Extent, P] Protected<T, P>);
any_offset_async!([T, const N: usize] Chips<T, N>);

impl<T: AsyncMemory, const WRITE: usize, const ERASE: usize> ReadNorFlash for FlashLike<T, WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    /// [`AsyncMemory::read`]: any offset, any length.
    ///
    /// # Errors
    ///
    /// As there.
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.eeprom.read(offset, bytes).await
    }

    fn capacity(&self) -> usize {
        usize::try_from(self.eeprom.capacity()).unwrap_or(usize::MAX)
    }
}

impl<T: AsyncMemory, const WRITE: usize, const ERASE: usize> NorFlash for FlashLike<T, WRITE, ERASE> {
    const WRITE_SIZE: usize = WRITE;
    const ERASE_SIZE: usize = ERASE;

    /// [`AsyncMemory::fill`] with 0xFF, one write cycle per page.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 20+ FF+ .. P`, tried until the write before it has ended
    ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 20+ P`.
    /// - **Power loss**: pages before the one in its write cycle are erased, pages after it are as they were; that one
    ///   may hold old, erased or other bytes.
    /// - **Cancelled**: pages before the one under way are erased, that one is erased or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `ERASE` units, [`Error::OutOfRange`]; otherwise as there.
    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        let length = erase_length(self.eeprom.capacity(), ERASE, from, to)?;
        self.eeprom.fill(from, length, 0xFF).await
    }

    /// [`AsyncMemory::write`] of whole `WRITE` units. Where `WRITE` is the page, a cut touches no other unit.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise as there.
    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(WRITE, offset, bytes.len())?;
        self.eeprom.write(offset, bytes).await
    }
}

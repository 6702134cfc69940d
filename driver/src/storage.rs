//! The traits of `embedded-storage` (feature `storage`), and with feature `async` those of `embedded-storage-async`.
//!
//! The drivers implement `ReadStorage` and `Storage` as they are: any offset, any length, no read-modify-write.
//! [`FlashLike`] implements the `NorFlash` traits for code that wants to erase.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use embedded_storage::{ReadStorage, Storage};

use crate::error::Error;
use crate::geometry::Geometry;

impl<E: core::fmt::Debug> NorFlashError for Error<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfRange { .. } => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned { .. } => NorFlashErrorKind::NotAligned,
            _ => NorFlashErrorKind::Other,
        }
    }
}

fn capacity(geometry: &Geometry) -> usize {
    usize::try_from(geometry.capacity_bytes()).unwrap_or(usize::MAX)
}

/// An EEPROM that behaves like a NOR flash: written in units of `WRITE` bytes, erased in units of `ERASE` bytes, erased
/// bytes read 0xFF.
///
/// Choose `WRITE` as the page of the part. A NOR flash that loses its supply in a write leaves all other words alone;
/// an EEPROM may lose the *whole page*, and with it what was written to that page before. With `WRITE` as the page no
/// two writes share one. A smaller `WRITE` is right only for a part that is known to touch no bytes but those written
/// (and for FRAM). Choose `ERASE` as a multiple of the page.
///
/// An EEPROM needs no erasing, so this costs wear and time: each erase of a unit writes every page of it once more.
///
/// `MultiwriteNorFlash` is not implemented: on a NOR flash a second write can only clear bits, here it replaces them.
///
/// # Power loss
///
/// In an erase or write, the page in flight may hold anything between old and new, byte by byte; pages before it are
/// done, pages after it and pages outside the request are untouched. Code made for NOR flash usually expects that much,
/// but not a page whose bytes read differently each time, as a cut may leave one: the record store (feature `records`)
/// does.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use embedded_storage::nor_flash::NorFlash;
/// use pagewise_driver::{Eeprom, FlashLike, Geometry, Options, Parameters};
///
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// let i2c = Mock::new(&[
///     Transaction::write(0x50, [vec![0, 64], vec![0xFF; 32]].concat()),
///     Transaction::write(0x50, vec![0, 64]),
/// ]);
/// let eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut flash = FlashLike::<_, 32, 32>::new(eeprom);
/// flash.erase(64, 96)?;
/// # flash.release().release().0.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct FlashLike<T, const WRITE: usize, const ERASE: usize> {
    eeprom: T,
}

impl<T, const WRITE: usize, const ERASE: usize> FlashLike<T, WRITE, ERASE> {
    /// Takes a driver. `WRITE` must divide `ERASE`, and neither may be zero, or it does not compile.
    pub const fn new(eeprom: T) -> Self {
        const { assert!(WRITE > 0 && ERASE > 0 && ERASE % WRITE == 0, "WRITE must divide ERASE") };
        Self { eeprom }
    }

    /// Gives the driver back.
    pub fn release(self) -> T {
        self.eeprom
    }
}

/// Length of an erase, if it is made of whole units inside the part.
fn erase_length<E>(geometry: &Geometry, unit: usize, from: u32, to: u32) -> Result<usize, Error<E>> {
    let capacity = geometry.capacity_bytes();
    let length = to.checked_sub(from).and_then(|length| usize::try_from(length).ok());
    let Some(length) = length.filter(|length| geometry.contains(from, *length)) else {
        return Err(Error::OutOfRange { offset: from, length: length.unwrap_or(0), capacity });
    };
    let aligned = is_multiple(from, unit) && is_multiple(to, unit);
    if aligned { Ok(length) } else { Err(Error::NotAligned { offset: from, length, unit }) }
}

/// Refuses a write that is not made of whole units.
fn check_write<E>(unit: usize, offset: u32, length: usize) -> Result<(), Error<E>> {
    let aligned = is_multiple(offset, unit) && length.checked_rem(unit) == Some(0);
    if aligned { Ok(()) } else { Err(Error::NotAligned { offset, length, unit }) }
}

fn is_multiple(offset: u32, unit: usize) -> bool {
    u32::try_from(unit).ok().and_then(|unit| offset.checked_rem(unit)) == Some(0)
}

mod blocking {
    use embedded_hal::delay::DelayNs;
    use embedded_hal::i2c::I2c;

    use super::{
        Error, ErrorType, FlashLike, NorFlash, ReadNorFlash, ReadStorage, Storage, capacity, check_write, erase_length,
    };
    use crate::Eeprom;

    impl<I2C: I2c, D: DelayNs, const BUF: usize> ReadStorage for Eeprom<I2C, D, BUF> {
        type Error = Error<I2C::Error>;

        /// [`Eeprom::read`]: any offset, any length.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        ///
        /// # Errors
        ///
        /// As there.
        fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
            self.read(offset, bytes)
        }

        fn capacity(&self) -> usize {
            capacity(self.geometry())
        }
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize> Storage for Eeprom<I2C, D, BUF> {
        /// [`Eeprom::write`]: any offset, any length, nothing is read first.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
        /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that
        ///   one may hold old, new or other bytes.
        ///
        /// # Errors
        ///
        /// As there.
        fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
            self.write(offset, bytes)
        }
    }

    impl<I2C: I2c, D, const BUF: usize, const WRITE: usize, const ERASE: usize> ErrorType
        for FlashLike<Eeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        type Error = Error<I2C::Error>;
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize, const WRITE: usize, const ERASE: usize> ReadNorFlash
        for FlashLike<Eeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        const READ_SIZE: usize = 1;

        /// [`Eeprom::read`]: any offset, any length.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        ///
        /// # Errors
        ///
        /// As there.
        fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
            self.eeprom.read(offset, bytes)
        }

        fn capacity(&self) -> usize {
            capacity(self.eeprom.geometry())
        }
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize, const WRITE: usize, const ERASE: usize> NorFlash
        for FlashLike<Eeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        const WRITE_SIZE: usize = WRITE;
        const ERASE_SIZE: usize = ERASE;

        /// [`Eeprom::fill`] with 0xFF, one write cycle per page.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 20+ FF+ .. P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 20+ P`.
        /// - **Power loss**: pages before the one in its write cycle are erased, pages after it are as they were; that
        ///   one may hold old, erased or other bytes.
        ///
        /// # Errors
        ///
        /// [`Error::NotAligned`] unless made of whole `ERASE` units, [`Error::OutOfRange`]; otherwise as there.
        fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
            let length = erase_length(self.eeprom.geometry(), ERASE, from, to)?;
            self.eeprom.fill(from, length, 0xFF)
        }

        /// [`Eeprom::write`] of whole `WRITE` units.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
        /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that
        ///   one may hold old, new or other bytes. Other units are not touched where `WRITE` is the page.
        ///
        /// # Errors
        ///
        /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise as there.
        fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
            check_write(WRITE, offset, bytes.len())?;
            self.eeprom.write(offset, bytes)
        }
    }
}

#[cfg(feature = "async")]
mod asynch {
    use embedded_hal_async::delay::DelayNs;
    use embedded_hal_async::i2c::I2c;
    use embedded_storage_async::nor_flash::{NorFlash, ReadNorFlash};
    use embedded_storage_async::{ReadStorage, Storage};

    use super::{Error, ErrorType, FlashLike, capacity, check_write, erase_length};
    use crate::AsyncEeprom;

    impl<I2C: I2c, D: DelayNs, const BUF: usize> ReadStorage for AsyncEeprom<I2C, D, BUF> {
        type Error = Error<I2C::Error>;

        /// [`AsyncEeprom::read`]: any offset, any length.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        /// - **Cancelled**: leaves nothing behind.
        ///
        /// # Errors
        ///
        /// As there.
        async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
            self.read(offset, bytes).await
        }

        fn capacity(&self) -> usize {
            capacity(self.geometry())
        }
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize> Storage for AsyncEeprom<I2C, D, BUF> {
        /// [`AsyncEeprom::write`]: any offset, any length, nothing is read first.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
        /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that
        ///   one may hold old, new or other bytes.
        /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits
        ///   for its write cycle first.
        ///
        /// # Errors
        ///
        /// As there.
        async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
            self.write(offset, bytes).await
        }
    }

    impl<I2C: I2c, D, const BUF: usize, const WRITE: usize, const ERASE: usize> ErrorType
        for FlashLike<AsyncEeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        type Error = Error<I2C::Error>;
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize, const WRITE: usize, const ERASE: usize> ReadNorFlash
        for FlashLike<AsyncEeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        const READ_SIZE: usize = 1;

        /// [`AsyncEeprom::read`]: any offset, any length.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        /// - **Cancelled**: leaves nothing behind.
        ///
        /// # Errors
        ///
        /// As there.
        async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
            self.eeprom.read(offset, bytes).await
        }

        fn capacity(&self) -> usize {
            capacity(self.eeprom.geometry())
        }
    }

    impl<I2C: I2c, D: DelayNs, const BUF: usize, const WRITE: usize, const ERASE: usize> NorFlash
        for FlashLike<AsyncEeprom<I2C, D, BUF>, WRITE, ERASE>
    {
        const WRITE_SIZE: usize = WRITE;
        const ERASE_SIZE: usize = ERASE;

        /// [`AsyncEeprom::fill`] with 0xFF, one write cycle per page.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 20+ FF+ .. P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 20+ P`.
        /// - **Power loss**: pages before the one in its write cycle are erased, pages after it are as they were; that
        ///   one may hold old, erased or other bytes.
        /// - **Cancelled**: pages before the one under way are erased, that one is erased or not; the next call waits
        ///   for its write cycle first.
        ///
        /// # Errors
        ///
        /// [`Error::NotAligned`] unless made of whole `ERASE` units, [`Error::OutOfRange`]; otherwise as there.
        async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
            let length = erase_length(self.eeprom.geometry(), ERASE, from, to)?;
            self.eeprom.fill(from, length, 0xFF).await
        }

        /// [`AsyncEeprom::write`] of whole `WRITE` units.
        ///
        /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended
        ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
        /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that
        ///   one may hold old, new or other bytes. Other units are not touched where `WRITE` is the page.
        /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits
        ///   for its write cycle first.
        ///
        /// # Errors
        ///
        /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise as there.
        async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
            check_write(WRITE, offset, bytes.len())?;
            self.eeprom.write(offset, bytes).await
        }
    }
}

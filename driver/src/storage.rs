//! The traits of `embedded-storage` (feature `storage`), and with feature `async` those of `embedded-storage-async`.
//!
//! The drivers, [`Protected`] and [`Chips`] implement `ReadStorage` and `Storage` as they are: any offset, any length, no
//! read-modify-write. [`FlashLike`] implements the `NorFlash` traits for code that wants to erase, [`MultiwriteFlash`] also
//! `MultiwriteNorFlash`.

#[cfg(feature = "async")]
mod asynch;
mod multiwrite;

pub use multiwrite::MultiwriteFlash;

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use embedded_storage::{ReadStorage, Storage};

use crate::blocking::Eeprom;
use crate::chips::Chips;
use crate::error::Error;
use crate::memory::{Extent, Memory};
use crate::protect::Protected;
use crate::region::InRegion;

impl<E: core::fmt::Debug> NorFlashError for Error<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfRange { .. } => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned { .. } => NorFlashErrorKind::NotAligned,
            _ => NorFlashErrorKind::Other,
        }
    }
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
/// Where code demands it, there is [`MultiwriteFlash`].
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
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
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
fn erase_length<E>(capacity: u32, unit: usize, from: u32, to: u32) -> Result<usize, Error<E>> {
    let length = to.checked_sub(from).and_then(|length| usize::try_from(length).ok());
    let Some(length) = length.filter(|_| to <= capacity) else {
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

impl<T: Extent, const WRITE: usize, const ERASE: usize> ErrorType for FlashLike<T, WRITE, ERASE> {
    type Error = Error<T::BusError>;
}

/// The traits for any offset and length; for each type by itself, since they are another crate's.
macro_rules! any_offset {
    ([$($generics:tt)*] $memory:ty) => {
        impl<$($generics)*> ReadStorage for $memory
        where
            $memory: Memory,
        {
            type Error = Error<<$memory as Extent>::BusError>;

    /// [`Memory::read`]: any offset, any length.
    ///
    /// # Errors
    ///
    /// As there.
            fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
                Memory::read(self, offset, bytes)
            }

            fn capacity(&self) -> usize {
                usize::try_from(Extent::capacity(self)).unwrap_or(usize::MAX)
            }
        }

        impl<$($generics)*> Storage for $memory
        where
            $memory: Memory,
        {
    /// [`Memory::write`]: any offset, any length, nothing is read first.
    ///
    /// # Errors
    ///
    /// As there.
            fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
                Memory::write(self, offset, bytes)
            }
        }
    };
}

any_offset!([I2C: embedded_hal::i2c::I2c, D, const BUF: usize] Eeprom<I2C, D, BUF>);
any_offset!(['e, I2C: embedded_hal::i2c::I2c, D, const BUF: usize] InRegion<'e, Eeprom<I2C, D, BUF>>);
any_offset!([T: Extent, P] Protected<T, P>);
any_offset!([T, const N: usize] Chips<T, N>);

impl<T: Memory, const WRITE: usize, const ERASE: usize> ReadNorFlash for FlashLike<T, WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    /// [`Memory::read`]: any offset, any length.
    ///
    /// # Errors
    ///
    /// As there.
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.eeprom.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        usize::try_from(self.eeprom.capacity()).unwrap_or(usize::MAX)
    }
}

impl<T: Memory, const WRITE: usize, const ERASE: usize> NorFlash for FlashLike<T, WRITE, ERASE> {
    const WRITE_SIZE: usize = WRITE;
    const ERASE_SIZE: usize = ERASE;

    /// [`Memory::fill`] with 0xFF, one write cycle per page.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 20+ FF+ .. P`, tried until the write before it has ended
    ///   (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 20+ P`.
    /// - **Power loss**: pages before the one in its write cycle are erased, pages after it are as they were; that one
    ///   may hold old, erased or other bytes.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `ERASE` units, [`Error::OutOfRange`]; otherwise as there.
    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        let length = erase_length(self.eeprom.capacity(), ERASE, from, to)?;
        self.eeprom.fill(from, length, 0xFF)
    }

    /// [`Memory::write`] of whole `WRITE` units. Where `WRITE` is the page, a cut touches no other unit.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise as there.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(WRITE, offset, bytes.len())?;
        self.eeprom.write(offset, bytes)
    }
}

//! A flash that may be written twice.

#[cfg(feature = "async")]
mod asynch;

use embedded_storage::nor_flash::{ErrorType, MultiwriteNorFlash, NorFlash, ReadNorFlash};

use super::{FlashLike, check_write};
use crate::error::Error;
use crate::memory::{Extent, Memory};

/// As [`FlashLike`], and a second write to a unit can only clear bits, as on a NOR flash: each unit is read first and
/// written as the bitwise AND of what it holds and what is given. So it is a `MultiwriteNorFlash`, for code that marks
/// things as done by clearing bits, such as a queue that removes items.
///
/// It costs a read per unit, and a second write of a unit costs a write cycle and wear like a first one.
///
/// # Power loss
///
/// On a NOR flash a cut in a second write leaves each bit as it was or cleared. Here it may leave *any* byte of the page in
/// flight anything (see [`FlashLike`]): the item that is being marked may be lost, and, where several units share a page,
/// its neighbours in it. With `WRITE` as the page it is that item alone.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use embedded_storage::nor_flash::NorFlash;
/// use pagewise_driver::{Eeprom, Geometry, MultiwriteFlash, Options, Parameters};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let i2c = Mock::new(&[
///     Transaction::write_read(0x50, vec![0, 64], vec![0x0F, 0xFF]),
///     Transaction::write(0x50, vec![0, 64, 0x08, 0x00]),
///     Transaction::write(0x50, vec![0, 64]),
/// ]);
/// let eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut flash = MultiwriteFlash::<_, 2, 32>::new(eeprom);
/// flash.write(64, &[0xF8, 0x00])?;
/// # flash.release().release().0.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct MultiwriteFlash<T, const WRITE: usize, const ERASE: usize> {
    flash: FlashLike<T, WRITE, ERASE>,
}

impl<T, const WRITE: usize, const ERASE: usize> MultiwriteFlash<T, WRITE, ERASE> {
    /// As [`FlashLike::new`].
    pub const fn new(eeprom: T) -> Self {
        Self { flash: FlashLike::new(eeprom) }
    }

    /// Gives the driver back.
    pub fn release(self) -> T {
        self.flash.release()
    }
}

impl<T: Extent, const WRITE: usize, const ERASE: usize> ErrorType for MultiwriteFlash<T, WRITE, ERASE> {
    type Error = Error<T::BusError>;
}

impl<T: Memory, const WRITE: usize, const ERASE: usize> ReadNorFlash for MultiwriteFlash<T, WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.flash.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<T: Memory, const WRITE: usize, const ERASE: usize> NorFlash for MultiwriteFlash<T, WRITE, ERASE> {
    const WRITE_SIZE: usize = WRITE;
    const ERASE_SIZE: usize = ERASE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.flash.erase(from, to)
    }

    /// Reads each unit, clears the bits that are zero in `bytes`, and writes it, whatever it has read: a unit
    /// that a loss of supply has cut may read right now and wrong later.
    ///
    /// - **On the wire**, per unit: `S 50W+ 01+ 23+ Sr 50R+ FF+ FF- P`, `S 50W+ 01+ 23+ AB+ CD+ P`, polled for.
    /// - **Power loss**: units before the one in its write cycle are stored, units after it are as they were; that one may
    ///   hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// [`Error::NotAligned`] unless made of whole `WRITE` units; otherwise those of [`Memory::write`].
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(WRITE, offset, bytes.len())?;
        let mut at = offset;
        for (done, unit) in bytes.chunks(WRITE).enumerate() {
            let mut cleared = [0; WRITE];
            let result = match clear(&mut self.flash, at, unit, &mut cleared) {
                Ok(()) => NorFlash::write(&mut self.flash, at, &cleared),
                Err(error) => Err(error),
            };
            result.map_err(|error| error.moved(0, done.saturating_mul(WRITE)))?;
            at = at.wrapping_add(WRITE as u32);
        }
        Ok(())
    }
}

impl<T: Memory, const WRITE: usize, const ERASE: usize> MultiwriteNorFlash for MultiwriteFlash<T, WRITE, ERASE> {}

/// Reads a unit and clears the bits of it that are zero in `unit`.
fn clear<F: ReadNorFlash>(flash: &mut F, at: u32, unit: &[u8], into: &mut [u8]) -> Result<(), F::Error> {
    flash.read(at, into)?;
    for (byte, mask) in into.iter_mut().zip(unit) {
        *byte &= mask;
    }
    Ok(())
}

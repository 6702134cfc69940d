//! The verbs, once: what can be done with a memory, whether it is one part, one behind a write-protect pin, or several
//! chips. What carries more than one of them is written against these traits.

use core::fmt;

#[cfg(feature = "async")]
mod asynch;

#[cfg(feature = "async")]
pub use asynch::AsyncMemory;

use crate::error::Error;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

/// How large a memory is, and what its bus reports.
pub trait Extent {
    /// The HAL's own error.
    type BusError: fmt::Debug;

    /// Capacity in bytes.
    fn capacity(&self) -> u32;

    /// How many calls have failed so far, as far as this counts; after one more a [`Trust`] vouches for nothing.
    fn failures(&self) -> u32;
}

/// What can be done with a memory: [`Eeprom`](crate::Eeprom), [`Protected`](crate::Protected), [`Chips`](crate::Chips),
/// [`InRegion`](crate::InRegion), and what is built of them.
///
/// What a call sends, what may fail, and what a loss of supply leaves is said here, for all of them. [`Eeprom`](crate::Eeprom)
/// has the verbs of its own too, so that a program with one part needs not import this trait. Where the traits of
/// `embedded-storage` or the `Medium` of the records are in scope too, say which `read` is meant:
/// `Memory::read(&mut memory, ..)`.
///
/// # Examples
///
/// Firmware that does not care what it writes to:
///
/// ```
/// use pagewise_driver::{Error, Memory};
///
/// fn store<M: Memory>(memory: &mut M, serial: &[u8]) -> Result<(), Error<M::BusError>> {
///     memory.write_verified(0x0100, serial)
/// }
/// # use embedded_hal_mock::eh1::{delay::NoopDelay, i2c::{Mock, Transaction}};
/// # use pagewise_driver::{Eeprom, Geometry, Options, Parameters};
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// # let i2c = Mock::new(&[Transaction::write(0x50, vec![1, 0, 7]), Transaction::write_read(0x50, vec![1, 0], vec![7])]);
/// # let mut eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// store(&mut eeprom, &[7])?;
/// # eeprom.release().0.done();
/// # Ok::<(), Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
pub trait Memory: Extent {
    /// Reads `bytes.len()` bytes from `offset`. A part without word-address bytes gets no header: its device address is
    /// the offset.
    ///
    /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteCycleOverrun`] (an earlier write never ended), [`Error::Bus`].
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// Those of [`Memory::read`], and [`Error::WriteProtected`]; of a [`Protected`](crate::Protected) memory
    /// [`Error::WriteProtectPin`], of a region that is read-only [`Error::Unsupported`]. [`Error::safe_bytes`] says how
    /// many bytes, from the start, are known to be stored; the page after them is indeterminate.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// As [`Memory::write`], and reads each page back after its write cycle. Finds a protected part that ACKs data and
    /// drops it.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, then the reading back, tried until the write has ended
    ///   (`S 50W- P` while it has not): `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: as of a write: pages before the one in its write cycle are stored, pages after it are as they
    ///   were; that one may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// Those of [`Memory::write`], and [`Error::Verify`].
    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `length` times the same byte at `offset`, page by page.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ AB+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: as of [`Memory::write`].
    ///
    /// # Errors
    ///
    /// Those of [`Memory::write`].
    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>>;

    /// Compares the memory with `bytes`, reading up to the first difference. A page that was cut by a loss of supply may
    /// read right now and wrong later.
    ///
    /// - **On the wire**, per page, up to the first difference: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// Those of [`Memory::read`]. A difference is a result, not an error.
    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>>;

    /// Makes the memory hold `bytes` at `offset`, and writes no page that holds them already. Saves wear and time where
    /// little has changed.
    ///
    /// A page that reads right is kept only where `trust` vouches for it: after a loss of supply in its write cycle it
    /// may read right now and wrong later. All other pages are written without a look. See [`Trust`].
    ///
    /// - **On the wire**, per page that is not trusted, as of [`Memory::write`]; per trusted page the comparison:
    ///   `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited
    ///   for (`S 50W- P` while it has not come, then the next access or the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of [`Memory::write`]; pages that are kept are not touched.
    ///
    /// # Errors
    ///
    /// Those of [`Memory::read`] and [`Memory::write`].
    fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        inside(self.capacity(), offset, bytes.len())?;
        trust.renew(self.failures());
        let (mut total, mut done) = (Updated::default(), 0usize);
        while let Some(piece) = trust.piece(offset, bytes.len(), done) {
            let end = done.wrapping_add(piece.length);
            let Some(part) = bytes.get(done..end) else { return Err(Error::OutOfStep) };
            let updated = match piece.trusted {
                true => self.update_trusting(piece.offset, part),
                false => self.update_suspect(piece.offset, part),
            };
            total = total.plus(updated.map_err(|error| error.moved(0, done))?);
            trust.add(piece.offset, piece.length);
            done = end;
        }
        Ok(total)
    }

    /// Makes the memory hold `bytes` at `offset`, as [`Memory::update`], and trusts each page that reads right.
    ///
    /// For firmware that knows that no write to these bytes was ever cut by a loss of supply. Where it does not, a page
    /// that was cut may be kept, since it reads right now, and read wrong later.
    ///
    /// - **On the wire**, per page the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write
    ///   `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited for (`S 50W- P` while it has not come, then the next access or
    ///   the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of [`Memory::update`].
    ///
    /// # Errors
    ///
    /// Those of [`Memory::read`] and [`Memory::write`].
    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// Makes the memory hold `bytes` at `offset`, as [`Memory::update`], and trusts no page: as [`Memory::write`], but it
    /// tells how many page writes that took. What has no write cycle that could be cut is compared first.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: as of [`Memory::write`].
    ///
    /// # Errors
    ///
    /// Those of [`Memory::read`] and [`Memory::write`].
    fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// Waits until the part answers, of several chips each: for the write that an earlier call left in its cycle, or else
    /// at its first address. A part without word-address bytes is asked with a read of one byte.
    ///
    /// - **On the wire**: `S 50W+ 00+ 00+ P`, tried until it is answered (`S 50W- P` before); at the place of the write
    ///   that is waited for, if there is one.
    /// - **Power loss**: changes nothing; it tells nothing about a write before it.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>>;

    /// Lets so many microseconds pass, with the driver's own delay. Sends nothing.
    fn pause_us(&mut self, us: u32);
}

/// Refuses a request that does not lie inside a memory.
pub(crate) fn inside<E>(capacity: u32, offset: u32, length: usize) -> Result<(), Error<E>> {
    match capacity.checked_sub(offset) {
        Some(rest) if length as u64 <= u64::from(rest) => Ok(()),
        _ => Err(Error::OutOfRange { offset, length, capacity }),
    }
}

impl<M: Extent + ?Sized> Extent for &mut M {
    type BusError = M::BusError;

    fn capacity(&self) -> u32 {
        M::capacity(self)
    }

    fn failures(&self) -> u32 {
        M::failures(self)
    }
}

impl<M: Memory + ?Sized> Memory for &mut M {
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        M::read(self, offset, bytes)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        M::write(self, offset, bytes)
    }

    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        M::write_verified(self, offset, bytes)
    }

    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        M::fill(self, offset, length, byte)
    }

    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        M::compare(self, offset, bytes)
    }

    fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        M::update(self, offset, bytes, trust)
    }

    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        M::update_trusting(self, offset, bytes)
    }

    fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        M::update_suspect(self, offset, bytes)
    }

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        M::wait_ready(self)
    }

    fn pause_us(&mut self, us: u32) {
        M::pause_us(self, us);
    }
}

//! The verbs, once: what can be done with a memory, whether it is one part, one behind a write-protect pin, or several
//! chips. What carries more than one of them is written against these traits.

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorType, I2c};

#[cfg(feature = "async")]
mod asynch;

#[cfg(feature = "async")]
pub use asynch::AsyncMemory;

use crate::blocking::Eeprom;
use crate::error::Error;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

/// How large a memory is, and what its bus reports.
pub trait Extent {
    /// The HAL's own error.
    type BusError: fmt::Debug;

    /// Capacity in bytes.
    fn capacity(&self) -> u32;
}

/// What can be done with a memory: [`Eeprom`], [`Protected`](crate::Protected), [`Chips`](crate::Chips), and what is built
/// of them.
///
/// The wire lines are those of the methods of [`Eeprom`], which has them of its own, so that a program with one part needs
/// not import this trait. Where the traits of `embedded-storage` or the `Medium` of the records are in scope too, say
/// which `read` is meant: `Memory::read(&mut memory, ..)`.
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
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// # let i2c = Mock::new(&[Transaction::write(0x50, vec![1, 0, 7]), Transaction::write_read(0x50, vec![1, 0], vec![7])]);
/// # let mut eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// store(&mut eeprom, &[7])?;
/// # eeprom.release().0.done();
/// # Ok::<(), Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
pub trait Memory: Extent {
    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteCycleOverrun`] (an earlier write never ended), [`Error::Bus`].
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// Those of `read`, and [`Error::WriteProtected`]; of a [`Protected`](crate::Protected) memory
    /// [`Error::WriteProtectPin`]. [`Error::safe_bytes`] says how many bytes, from the start, are known to be stored; the
    /// page after them is indeterminate.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// As `write`, and reads each page back after its write cycle. Finds a protected part that ACKs data and drops it.
    ///
    /// - **Power loss**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `write`, and [`Error::Verify`].
    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>>;

    /// Writes `length` times the same byte at `offset`, page by page.
    ///
    /// - **Power loss**: as of `write`.
    ///
    /// # Errors
    ///
    /// Those of `write`.
    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>>;

    /// Compares the memory with `bytes`, reading up to the first difference. A page that was cut by a loss of supply may
    /// read right now and wrong later.
    ///
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// Those of `read`. A difference is a result, not an error.
    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>>;

    /// Makes the memory hold `bytes` at `offset`, and writes no page that holds them already: as far as `trust` vouches
    /// for it. All other pages are written without a look. See [`Trust`].
    ///
    /// - **Power loss**: as of `write`; pages that are kept are not touched.
    ///
    /// # Errors
    ///
    /// Those of `read` and `write`.
    fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>>;

    /// As `update`, for firmware that knows that no write to these bytes was ever cut by a loss of supply: each page that
    /// reads right is kept.
    ///
    /// - **Power loss**: as of `update`.
    ///
    /// # Errors
    ///
    /// Those of `read` and `write`.
    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>>;

    /// Waits until the part answers, of several chips each: for the write that an earlier call left in its cycle, or else
    /// at its first address.
    ///
    /// - **Power loss**: changes nothing; it tells nothing about a write before it.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>>;

    /// Lets so many microseconds pass, with the driver's own delay. Sends nothing.
    fn pause_us(&mut self, us: u32);
}

impl<M: Extent + ?Sized> Extent for &mut M {
    type BusError = M::BusError;

    fn capacity(&self) -> u32 {
        M::capacity(self)
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

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        M::wait_ready(self)
    }

    fn pause_us(&mut self, us: u32) {
        M::pause_us(self, us);
    }
}

impl<I2C: ErrorType, D, const BUF: usize> Extent for Eeprom<I2C, D, BUF> {
    type BusError = I2C::Error;

    fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> Memory for Eeprom<I2C, D, BUF> {
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        Self::read(self, offset, bytes)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        Self::write(self, offset, bytes)
    }

    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        Self::write_verified(self, offset, bytes)
    }

    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        Self::fill(self, offset, length, byte)
    }

    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        Self::compare(self, offset, bytes)
    }

    fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        Self::update(self, offset, bytes, trust)
    }

    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        Self::update_trusting(self, offset, bytes)
    }

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        Self::wait_ready(self)
    }

    fn pause_us(&mut self, us: u32) {
        self.delay.delay_us(us);
    }
}

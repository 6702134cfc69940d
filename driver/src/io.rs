//! The traits of `embedded-io` (feature `io`), over a cursor.

#[cfg(feature = "async")]
mod asynch;

use embedded_io::{ErrorKind, ErrorType, Read, Seek, SeekFrom, Write};

use crate::error::Error;
use crate::memory::{Extent, Memory};

/// A position in a memory; reads and writes go on from there. With feature `async` it also has the traits of
/// `embedded-io-async`.
///
/// A read at the end gives 0 bytes. A write at the end is [`Error::OutOfRange`]; one that does not fit writes up to
/// the end and says how many bytes. Each write waits for its write cycles (unless the driver is lazy): collect small
/// pieces before writing them. `flush` waits until the part answers.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use embedded_io::{Read, Seek, SeekFrom};
/// use pagewise_driver::{Cursor, Eeprom, Geometry, Options, Parameters};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let i2c = Mock::new(&[Transaction::write_read(0x50, vec![0x0F, 0xFE], vec![8, 9])]);
/// let mut eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut cursor = Cursor::new(&mut eeprom);
/// cursor.seek(SeekFrom::End(-2))?;
/// let mut bytes = [0; 8];
/// assert_eq!(cursor.read(&mut bytes)?, 2);
/// assert_eq!(cursor.read(&mut bytes)?, 0);
/// # eeprom.release().0.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct Cursor<'e, T> {
    eeprom: &'e mut T,
    position: u32,
}

impl<'e, T> Cursor<'e, T> {
    /// A cursor at offset 0.
    pub const fn new(eeprom: &'e mut T) -> Self {
        Self { eeprom, position: 0 }
    }

    /// Offset of the next byte.
    pub const fn position(&self) -> u32 {
        self.position
    }
}

impl<E: core::fmt::Debug> embedded_io::Error for Error<E> {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::OutOfRange { .. } | Self::BufferTooSmall { .. } | Self::NotAligned { .. } => ErrorKind::InvalidInput,
            Self::NotAnswering { .. } => ErrorKind::NotConnected,
            Self::WriteProtected { .. } => ErrorKind::PermissionDenied,
            Self::WriteCycleOverrun { .. } => ErrorKind::TimedOut,
            Self::Verify { .. } => ErrorKind::InvalidData,
            Self::Unsupported => ErrorKind::Unsupported,
            _ => ErrorKind::Other,
        }
    }
}

impl<T: Extent> Cursor<'_, T> {
    /// Bytes from the position to the end of the part, at most `wanted`.
    fn room(&self, wanted: usize) -> usize {
        let rest = self.eeprom.capacity().saturating_sub(self.position);
        wanted.min(usize::try_from(rest).unwrap_or(usize::MAX))
    }

    /// The bytes that fit between the position and the end.
    fn fitting<'b>(&self, bytes: &'b [u8]) -> Result<&'b [u8], Error<T::BusError>> {
        let room = self.room(bytes.len());
        if room == 0 && !bytes.is_empty() {
            let (offset, capacity) = (self.position, self.eeprom.capacity());
            return Err(Error::OutOfRange { offset, length: bytes.len(), capacity });
        }
        bytes.get(..room).ok_or(Error::OutOfStep)
    }

    /// Where a seek leads.
    fn sought(&self, to: SeekFrom) -> Result<u32, Error<T::BusError>> {
        let capacity = self.eeprom.capacity();
        let target = match to {
            SeekFrom::Start(offset) => i64::try_from(offset).ok(),
            SeekFrom::End(by) => i64::from(capacity).checked_add(by),
            SeekFrom::Current(by) => i64::from(self.position).checked_add(by),
        };
        let offset = target.and_then(|target| u32::try_from(target).ok()).unwrap_or(u32::MAX);
        if offset > capacity { Err(Error::OutOfRange { offset, length: 0, capacity }) } else { Ok(offset) }
    }

    fn moved(&mut self, bytes: usize) -> usize {
        self.position = self.position.saturating_add(bytes as u32);
        bytes
    }
}

impl<T: Extent> ErrorType for Cursor<'_, T> {
    type Error = Error<T::BusError>;
}

impl<T: Memory> Read for Cursor<'_, T> {
    /// [`Memory::read`] from the position to the end of the part at most; 0 bytes at the end.
    ///
    /// # Errors
    ///
    /// As there.
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Self::Error> {
        let room = self.room(buffer.len());
        let Some(part) = buffer.get_mut(..room) else { return Err(Error::OutOfStep) };
        self.eeprom.read(self.position, part)?;
        Ok(self.moved(room))
    }
}

impl<T: Memory> Write for Cursor<'_, T> {
    /// [`Memory::write`] from the position to the end of the part at most.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`] at the end of the part; otherwise as there. After an error the position has not moved.
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        let part = self.fitting(bytes)?;
        self.eeprom.write(self.position, part)?;
        Ok(self.moved(part.len()))
    }

    /// [`Memory::wait_ready`]: everything that was written is stored when it returns.
    ///
    /// # Errors
    ///
    /// As there.
    fn flush(&mut self) -> Result<(), Self::Error> {
        self.eeprom.wait_ready()
    }
}

impl<T: Memory> Seek for Cursor<'_, T> {
    /// Moves the position.
    ///
    /// - **On the wire**: nothing.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`] before the start (its offset is then `u32::MAX`) and beyond the end; the position stays.
    fn seek(&mut self, to: SeekFrom) -> Result<u64, Self::Error> {
        self.position = self.sought(to)?;
        Ok(u64::from(self.position))
    }
}

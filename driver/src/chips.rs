//! Several identical chips as one address space.

#[cfg(feature = "async")]
mod asynch;

use core::fmt;
use core::ops::Range;

use crate::error::Error;
use crate::geometry::{Geometry, GeometryError};
use crate::memory::{Extent, Memory, inside};
use crate::options::Config;
use crate::plan::{Difference, State, Updated};

/// Identical chips on one bus, at different device addresses, one after the other in one address space.
///
/// Offset 0 is the first byte of the first address given; a request may cross from chip to chip. Each chip's write
/// cycle is waited for at its own address. `T` is [`Eeprom`](crate::Eeprom) or, with feature `async`, `AsyncEeprom`; this
/// is a [`Memory`] or an `AsyncMemory` accordingly.
///
/// Errors have offsets and safe bytes of the whole request. When supply is lost, or a call is dropped: on the chip under
/// way, as of its own call; chips before it are done, chips after it are as they were. In lazy mode everything is stored
/// when `wait_ready` has returned.
///
/// # On the wire
///
/// Chip after chip, here from the last byte of the first one on:
///
/// - `read`, `compare`: `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, `S 51W+ 00+ 00+ Sr 51R+ AB- P`
/// - `write`, `update_suspect`: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ CD+ P`,
///   `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`
/// - `write_verified`: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, then
///   `S 51W+ 00+ 00+ AB+ P`, `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P` (at word address zero a poll asks),
///   `S 51W+ 00+ 00+ Sr 51R+ AB- P`
/// - `fill`: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ AB+ P`,
///   `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`
/// - `update`, `update_trusting` (where it is trusted, and differs): `S 50W+ 0F+ FF+ Sr 50R+ AB- P`,
///   `S 50W+ 0F+ FF+ 12+ P`, `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ Sr 51R+ AB- P`,
///   `S 51W+ 00+ 00+ 34+ P`, `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`
/// - `wait_ready`: `S 50W- P` while it is busy, `S 50W+ 00+ 00+ P`, then `S 51W+ 00+ 00+ P`; at the place of the write
///   that is waited for, if there is one
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Chips, Eeprom, Geometry, Memory, Options, Parameters};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let i2c = Mock::new(&[
///     Transaction::write_read(0x50, vec![0x0F, 0xFF], vec![1]),
///     Transaction::write_read(0x51, vec![0x00, 0x00], vec![2]),
/// ]);
/// let eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut chips = Chips::new(eeprom, [0x50, 0x51])?;
/// assert_eq!(chips.capacity(), 8192);
/// let mut bytes = [0; 2];
/// chips.read(0x0FFF, &mut bytes).unwrap();
/// assert_eq!(bytes, [1, 2]);
/// # chips.release().release().0.done();
/// # Ok::<(), pagewise_driver::ChipsError>(())
/// ```
#[derive(Debug)]
pub struct Chips<T, const N: usize> {
    eeprom: T,
    addresses: [u8; N],
    states: [State; N],
    current: usize,
}

/// Why chips do not make one address space.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ChipsError {
    /// No address was given.
    Empty,
    /// An address does not fit the part.
    Address {
        /// Index of the chip.
        index: usize,
        /// What is wrong with its address.
        error: GeometryError,
    },
    /// Two chips would answer together.
    SameAddress {
        /// Index of one.
        first: usize,
        /// Index of the other.
        second: usize,
        /// The device address of both.
        device_address: u8,
    },
}

impl fmt::Display for ChipsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("no device address was given"),
            Self::Address { index, error } => write!(f, "chip {index}: {error}"),
            Self::SameAddress { first, second, device_address } => {
                write!(f, "chips {first} and {second} have the same device address {device_address:#04x}")
            }
        }
    }
}

impl core::error::Error for ChipsError {}

/// What of a driver depends on the chip.
trait Core {
    fn config(&self) -> &Config;
    fn state(&self) -> &State;
    fn core(&mut self) -> (&mut Config, &mut State);
}

impl<I2C, D, const BUF: usize> Core for crate::Eeprom<I2C, D, BUF> {
    fn config(&self) -> &Config {
        &self.config
    }

    fn state(&self) -> &State {
        &self.state
    }

    fn core(&mut self) -> (&mut Config, &mut State) {
        (&mut self.config, &mut self.state)
    }
}

#[cfg(feature = "async")]
impl<I2C, D, const BUF: usize> Core for crate::AsyncEeprom<I2C, D, BUF> {
    fn config(&self) -> &Config {
        &self.config
    }

    fn state(&self) -> &State {
        &self.state
    }

    fn core(&mut self) -> (&mut Config, &mut State) {
        (&mut self.config, &mut self.state)
    }
}

/// The part of a request that lies on one chip.
struct Piece {
    /// Offset of the chip in the whole address space.
    base: u32,
    /// Offset on the chip.
    offset: u32,
    /// Bytes of the request.
    range: Range<usize>,
}

impl<T, const N: usize> Chips<T, N> {
    /// Gives the driver back, set to the chip that was used last.
    pub fn release(self) -> T {
        self.eeprom
    }
}

/// Checks each address and that no two are equal; gives the geometry of the first chip.
fn check(geometry: Geometry, addresses: &[u8]) -> Result<Geometry, ChipsError> {
    let mut first_chip = Err(ChipsError::Empty);
    for (second, &device_address) in addresses.iter().enumerate() {
        let chip = geometry.with_device_address(device_address);
        let chip = chip.map_err(|error| ChipsError::Address { index: second, error })?;
        if let Some(first) = addresses.iter().take(second).position(|address| *address == device_address) {
            return Err(ChipsError::SameAddress { first, second, device_address });
        }
        first_chip = first_chip.or(Ok(chip));
    }
    first_chip
}

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: Core, const N: usize> Chips<T, N> {
    /// Takes a driver for one of the chips and the device addresses of all, in order of their place.
    ///
    /// # Errors
    ///
    /// A [`ChipsError`]: an address that does not fit the part or occurs twice, no address at all.
    pub fn new(mut eeprom: T, addresses: [u8; N]) -> Result<Self, ChipsError> {
        let (config, state) = eeprom.core();
        config.geometry = check(config.geometry, &addresses)?;
        *state = State::new();
        Ok(Self { eeprom, addresses, states: [State::new(); N], current: 0 })
    }

    /// Capacity of all chips together in bytes; at most 2 GiB, since three word-address bytes and the seven bits of the
    /// device address tell no more bytes apart.
    pub fn capacity(&self) -> u32 {
        self.chip_bytes().saturating_mul(N as u32)
    }

    fn chip_bytes(&self) -> u32 {
        self.eeprom.config().geometry.capacity_bytes()
    }

    /// The next part of a request, with the driver set to its chip; `None` at the end.
    fn piece(&mut self, offset: u32, length: usize, done: usize) -> Option<Piece> {
        let left = length.checked_sub(done).filter(|left| *left > 0)?;
        let chip_bytes = self.chip_bytes();
        let at = offset.checked_add(done as u32)?;
        let index = at.checked_div(chip_bytes)?;
        let base = index.wrapping_mul(chip_bytes);
        let offset = at.wrapping_sub(base);
        let room = usize::try_from(chip_bytes.wrapping_sub(offset)).unwrap_or(usize::MAX);
        self.select(index as usize)?;
        Some(Piece { base, offset, range: done..done.saturating_add(left.min(room)) })
    }

    /// Sets the driver to a chip. Its state stays inside the driver until another chip is selected, so that a call
    /// which is dropped loses nothing.
    fn select(&mut self, index: usize) -> Option<()> {
        let address = *self.addresses.get(index)?;
        let (config, state) = self.eeprom.core();
        *self.states.get_mut(self.current)? = *state;
        *state = *self.states.get(index)?;
        config.geometry = config.geometry.with_device_address(address).ok()?;
        self.current = index;
        Some(())
    }
}

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: Extent + Core, const N: usize> Extent for Chips<T, N> {
    type BusError = T::BusError;

    fn capacity(&self) -> u32 {
        Self::capacity(self)
    }

    /// The state of the chip that is selected lies in the driver.
    fn failures(&self) -> u32 {
        let others = self.states.iter().enumerate().filter(|(index, _)| *index != self.current);
        let others = others.fold(0u32, |sum, (_, state)| sum.saturating_add(state.failures()));
        others.saturating_add(self.eeprom.state().failures())
    }
}

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: Memory + Core, const N: usize> Chips<T, N> {
    fn each(
        &mut self,
        offset: u32,
        length: usize,
        mut work: impl FnMut(&mut T, u32, Range<usize>) -> Result<(), Error<T::BusError>>,
    ) -> Result<(), Error<T::BusError>> {
        inside(self.capacity(), offset, length)?;
        let mut done = 0usize;
        while let Some(Piece { base, offset, range }) = self.piece(offset, length, done) {
            let end = range.end;
            work(&mut self.eeprom, offset, range).map_err(|error| error.moved(base, done))?;
            done = end;
        }
        Ok(())
    }

    /// Bytes that are all trusted, or none of them.
    fn update_piece(&mut self, offset: u32, bytes: &[u8], trusted: bool) -> Result<Updated, Error<T::BusError>> {
        let mut total = Updated::default();
        self.each(offset, bytes.len(), |eeprom, at, range| {
            let Some(part) = bytes.get(range) else { return Err(Error::OutOfStep) };
            let updated = if trusted { eeprom.update_trusting(at, part) } else { eeprom.update_suspect(at, part) };
            total = total.plus(updated?);
            Ok(())
        })?;
        Ok(total)
    }
}

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: Memory + Core, const N: usize> Memory for Chips<T, N> {
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        self.each(offset, bytes.len(), |eeprom, at, range| match bytes.get_mut(range) {
            Some(part) => eeprom.read(at, part),
            None => Err(Error::OutOfStep),
        })
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.each(offset, bytes.len(), |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write(at, part),
            None => Err(Error::OutOfStep),
        })
    }

    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.each(offset, bytes.len(), |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write_verified(at, part),
            None => Err(Error::OutOfStep),
        })
    }

    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        self.each(offset, length, |eeprom, at, range| eeprom.fill(at, range.len(), byte))
    }

    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        let mut first = None;
        self.each(offset, bytes.len(), |eeprom, at, range| {
            if first.is_none() {
                let start = range.start;
                let Some(part) = bytes.get(range) else { return Err(Error::OutOfStep) };
                first = eeprom.compare(at, part)?.map(|difference| difference.moved(start));
            }
            Ok(())
        })?;
        Ok(first)
    }

    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.update_piece(offset, bytes, true)
    }

    fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.update_piece(offset, bytes, false)
    }

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        for index in 0..N {
            self.select(index).ok_or(Error::OutOfStep)?;
            self.eeprom.wait_ready()?;
        }
        Ok(())
    }

    fn pause_us(&mut self, us: u32) {
        self.eeprom.pause_us(us);
    }
}

//! The write-protect pin: released around a write, asserted again on every path.

#[cfg(feature = "async")]
mod asynch;

use embedded_hal::digital::OutputPin;

use crate::error::Error;
use crate::memory::{Extent, Memory};
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

/// Times around the write-protect pin.
///
/// Of the data sheets read for the part cards, those that state such times ask for up to 0.1 µs before START and 1 µs
/// after STOP (24FC02, BR24G08-3). Slow grades may ask for as much as half a 100 kHz period (common practice, no
/// source), which the default of 5 µs each covers; the data sheet of the part decides. The write cycle itself does not
/// need the pin low, except on parts that sample it longer; the pin is asserted after the write cycle here, unless the
/// driver is lazy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct WriteProtectTiming {
    /// From releasing the pin to START, in microseconds.
    pub setup_us: u32,
    /// From STOP (or the end of the last write cycle) to asserting the pin, in microseconds.
    pub hold_us: u32,
}

impl WriteProtectTiming {
    /// 5 µs each.
    pub const fn new() -> Self {
        Self { setup_us: 5, hold_us: 5 }
    }

    /// Sets the time from releasing the pin to START, in microseconds.
    pub const fn with_setup_us(mut self, us: u32) -> Self {
        self.setup_us = us;
        self
    }

    /// Sets the time from STOP (or the end of the last write cycle) to asserting the pin, in microseconds.
    pub const fn with_hold_us(mut self, us: u32) -> Self {
        self.hold_us = us;
        self
    }
}

impl Default for WriteProtectTiming {
    fn default() -> Self {
        Self::new()
    }
}

/// Low while it lives. Dropping it, also by a dropped future, asserts the pin.
struct Released<'p, P: OutputPin> {
    pin: &'p mut P,
}

impl<'p, P: OutputPin> Released<'p, P> {
    /// Releases the pin; a pin that reports an error is driven high again, as far as it goes.
    fn new(pin: &'p mut P) -> Result<Self, P::Error> {
        let released = Self { pin };
        released.pin.set_low()?;
        Ok(released)
    }

    /// Asserts the pin and says whether that worked.
    fn finish<T, E>(self, result: Result<T, Error<E>>, safe_bytes: usize) -> Result<T, Error<E>> {
        let asserted = self.pin.set_high();
        if asserted.is_ok() {
            // Nothing is left for the drop to do. Where the pin has failed, the drop tries once more.
            core::mem::forget(self);
        }
        let value = result?;
        match asserted {
            Ok(()) => Ok(value),
            Err(_) => Err(Error::WriteProtectPin { safe_bytes }),
        }
    }
}

impl<P: OutputPin> Drop for Released<'_, P> {
    fn drop(&mut self) {
        // A drop can report nothing; `finish` has tried before where there was somebody to tell.
        let _ = self.pin.set_high();
    }
}

/// A driver with the write-protect pin of its part.
///
/// A [`Memory`] or, with feature `async`, an `AsyncMemory`; `T` is what it protects: a driver, or [`Chips`](crate::Chips)
/// with one pin.
///
/// The pin is high (protected) except inside the calls that write: WP low, the set-up time, the call as the driver makes
/// it, the hold time, WP high. It is asserted again when they return, fail, or, in the async form, are dropped (then at
/// once, without the hold time). A part that is written in spite of a high pin, or not written in spite of a low one, is
/// found by `write_verified`.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Drive};
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Eeprom, Geometry, Memory, Options, Parameters, Protected, WriteProtectTiming};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let i2c = Mock::new(&[Transaction::write(0x50, vec![0, 8, 1]), Transaction::write(0x50, vec![0, 8])]);
/// let pin = Pin::new(&[Drive::set(State::High), Drive::set(State::Low), Drive::set(State::High)]);
/// let eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut guarded = Protected::new(eeprom, pin, WriteProtectTiming::new())?;
/// guarded.write(8, &[1])?;
/// # let (eeprom, mut pin) = guarded.release();
/// # eeprom.release().0.done();
/// # pin.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct Protected<T, P> {
    eeprom: T,
    pin: P,
    timing: WriteProtectTiming,
}

impl<T, P: OutputPin> Protected<T, P> {
    /// Takes a driver and the pin, and asserts the pin.
    ///
    /// # Errors
    ///
    /// [`Error::WriteProtectPin`] if the pin cannot be driven.
    pub fn new<E>(eeprom: T, mut pin: P, timing: WriteProtectTiming) -> Result<Self, Error<E>> {
        match pin.set_high() {
            Ok(()) => Ok(Self { eeprom, pin, timing }),
            Err(_) => Err(Error::WriteProtectPin { safe_bytes: 0 }),
        }
    }

    /// The driver, for everything that does not write. A write through it meets the asserted pin.
    pub const fn eeprom_mut(&mut self) -> &mut T {
        &mut self.eeprom
    }

    /// Gives driver and pin back; the pin stays asserted.
    pub fn release(self) -> (T, P) {
        (self.eeprom, self.pin)
    }
}

impl<T: Extent, P> Extent for Protected<T, P> {
    type BusError = T::BusError;

    fn capacity(&self) -> u32 {
        self.eeprom.capacity()
    }

    fn failures(&self) -> u32 {
        self.eeprom.failures()
    }
}

impl<T: Memory, P: OutputPin> Protected<T, P> {
    fn released<R>(
        &mut self,
        length: usize,
        work: impl FnOnce(&mut T) -> Result<R, Error<T::BusError>>,
    ) -> Result<R, Error<T::BusError>> {
        let Ok(released) = Released::new(&mut self.pin) else {
            return Err(Error::WriteProtectPin { safe_bytes: 0 });
        };
        self.eeprom.pause_us(self.timing.setup_us);
        let result = work(&mut self.eeprom);
        self.eeprom.pause_us(self.timing.hold_us);
        released.finish(result, length)
    }
}

impl<T: Memory, P: OutputPin> Memory for Protected<T, P> {
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        self.eeprom.read(offset, bytes)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.released(bytes.len(), |memory| memory.write(offset, bytes))
    }

    fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.released(bytes.len(), |memory| memory.write_verified(offset, bytes))
    }

    fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        self.released(length, |memory| memory.fill(offset, length, byte))
    }

    fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        self.eeprom.compare(offset, bytes)
    }

    fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        self.released(bytes.len(), |memory| memory.update(offset, bytes, trust))
    }

    fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.released(bytes.len(), |memory| memory.update_trusting(offset, bytes))
    }

    fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.released(bytes.len(), |memory| memory.update_suspect(offset, bytes))
    }

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        self.eeprom.wait_ready()
    }

    fn pause_us(&mut self, us: u32) {
        self.eeprom.pause_us(us);
    }
}

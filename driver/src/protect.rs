//! The write-protect pin: released around a write, asserted again on every path.

use embedded_hal::digital::OutputPin;

use crate::error::Error;
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
/// The pin is high (protected) except inside the write calls. It is asserted again when they return, fail, or, in the
/// async form, are dropped. A part that is written in spite of a high pin, or not written in spite of a low one, is
/// found by `write_verified`.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Drive};
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Eeprom, Geometry, Options, Parameters, Protected, WriteProtectTiming};
///
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
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
    pub const fn eeprom(&mut self) -> &mut T {
        &mut self.eeprom
    }

    /// Gives driver and pin back; the pin stays asserted.
    pub fn release(self) -> (T, P) {
        (self.eeprom, self.pin)
    }
}

mod blocking {
    use embedded_hal::delay::DelayNs;
    use embedded_hal::digital::OutputPin;
    use embedded_hal::i2c::I2c;

    use super::{Difference, Error, Protected, Released, Trust, Updated};
    use crate::Eeprom;

    impl<I2C: I2c, D: DelayNs, P: OutputPin, const BUF: usize> Protected<Eeprom<I2C, D, BUF>, P> {
        /// As [`Eeprom::read`], with the pin asserted.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::read`].
        pub fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
            self.eeprom.read(offset, bytes)
        }

        /// As [`Eeprom::compare`], with the pin asserted.
        ///
        /// - **On the wire**, per page, up to the first difference: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::compare`].
        pub fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
            self.eeprom.compare(offset, bytes)
        }

        /// As [`Eeprom::write`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before
        ///   it has ended (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::write`], and [`Error::WriteProtectPin`].
        pub fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
            self.released(bytes.len(), |eeprom| eeprom.write(offset, bytes))
        }

        /// As [`Eeprom::write_verified`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, then the reading back, tried
        ///   until the write has ended (`S 50W- P` while it has not): `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::write_verified`], and [`Error::WriteProtectPin`].
        pub fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
            self.released(bytes.len(), |eeprom| eeprom.write_verified(offset, bytes))
        }

        /// As [`Eeprom::fill`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ AB+ P`, tried until the write before
        ///   it has ended (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::fill`], and [`Error::WriteProtectPin`].
        pub fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
            self.released(length, |eeprom| eeprom.fill(offset, length, byte))
        }

        /// As [`Eeprom::update`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page that is not trusted, as of [`Protected::write`]; per trusted page
        ///   the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`,
        ///   whose end is waited for (`S 50W- P` while it has not come, then the next access or the poll
        ///   `S 50W+ 01+ 23+ P`); hold time, WP high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::update`], and [`Error::WriteProtectPin`].
        pub fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
            self.released(bytes.len(), |eeprom| eeprom.update(offset, bytes, trust))
        }

        /// As [`Eeprom::update_trusting`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where
        ///   it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited for (`S 50W- P` while it has not
        ///   come, then the next access or the poll `S 50W+ 01+ 23+ P`); hold time, WP high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        ///
        /// # Errors
        ///
        /// Those of [`Eeprom::update_trusting`], and [`Error::WriteProtectPin`].
        pub fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
            self.released(bytes.len(), |eeprom| eeprom.update_trusting(offset, bytes))
        }

        fn released<T>(
            &mut self,
            length: usize,
            work: impl FnOnce(&mut Eeprom<I2C, D, BUF>) -> Result<T, Error<I2C::Error>>,
        ) -> Result<T, Error<I2C::Error>> {
            let Ok(released) = Released::new(&mut self.pin) else {
                return Err(Error::WriteProtectPin { safe_bytes: 0 });
            };
            self.eeprom.delay.delay_us(self.timing.setup_us);
            let result = work(&mut self.eeprom);
            self.eeprom.delay.delay_us(self.timing.hold_us);
            released.finish(result, length)
        }
    }
}

#[cfg(feature = "async")]
mod asynch {
    use embedded_hal::digital::OutputPin;
    use embedded_hal_async::delay::DelayNs;
    use embedded_hal_async::i2c::I2c;

    use super::{Difference, Error, Protected, Released, Trust, Updated};
    use crate::AsyncEeprom;

    impl<I2C: I2c, D: DelayNs, P: OutputPin, const BUF: usize> Protected<AsyncEeprom<I2C, D, BUF>, P> {
        /// As [`AsyncEeprom::read`], with the pin asserted.
        ///
        /// - **On the wire**, per sequential-read block and `max_transfer_bytes`: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        /// - **Cancelled**: leaves nothing behind.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::read`].
        pub async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
            self.eeprom.read(offset, bytes).await
        }

        /// As [`AsyncEeprom::compare`], with the pin asserted.
        ///
        /// - **On the wire**, per page, up to the first difference: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
        /// - **Power loss**: changes nothing.
        /// - **Cancelled**: leaves nothing behind.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::compare`].
        pub async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
            self.eeprom.compare(offset, bytes).await
        }

        /// As [`AsyncEeprom::write`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before
        ///   it has ended (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        /// - **Cancelled**: the pin is asserted at once, without the hold time; otherwise as of the driver's own call.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::write`], and [`Error::WriteProtectPin`].
        pub async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
            self.released(bytes.len(), async |eeprom| eeprom.write(offset, bytes).await).await
        }

        /// As [`AsyncEeprom::write_verified`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, then the reading back, tried
        ///   until the write has ended (`S 50W- P` while it has not): `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        /// - **Cancelled**: the pin is asserted at once, without the hold time; otherwise as of the driver's own call.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::write_verified`], and [`Error::WriteProtectPin`].
        pub async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
            self.released(bytes.len(), async |eeprom| eeprom.write_verified(offset, bytes).await).await
        }

        /// As [`AsyncEeprom::fill`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page: `S 50W+ 01+ 23+ AB+ AB+ P`, tried until the write before
        ///   it has ended (`S 50W- P` while it has not); after the last page the poll `S 50W+ 01+ 23+ P`; hold time, WP
        ///   high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        /// - **Cancelled**: the pin is asserted at once, without the hold time; otherwise as of the driver's own call.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::fill`], and [`Error::WriteProtectPin`].
        pub async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
            self.released(length, async |eeprom| eeprom.fill(offset, length, byte).await).await
        }

        /// As [`AsyncEeprom::update`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page that is not trusted, as of [`Protected::write`]; per trusted page
        ///   the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`,
        ///   whose end is waited for (`S 50W- P` while it has not come, then the next access or the poll
        ///   `S 50W+ 01+ 23+ P`); hold time, WP high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        /// - **Cancelled**: the pin is asserted at once, without the hold time; otherwise as of the driver's own call.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::update`], and [`Error::WriteProtectPin`].
        pub async fn update(
            &mut self,
            offset: u32,
            bytes: &[u8],
            trust: &mut Trust,
        ) -> Result<Updated, Error<I2C::Error>> {
            self.released(bytes.len(), async |eeprom| eeprom.update(offset, bytes, trust).await).await
        }

        /// As [`AsyncEeprom::update_trusting`], with the pin released.
        ///
        /// - **On the wire**, WP low, set-up time, per page the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where
        ///   it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited for (`S 50W- P` while it has not
        ///   come, then the next access or the poll `S 50W+ 01+ 23+ P`); hold time, WP high.
        /// - **Power loss**: as of the driver's own call; where the pin goes meanwhile is the board's affair.
        /// - **Cancelled**: the pin is asserted at once, without the hold time; otherwise as of the driver's own call.
        ///
        /// # Errors
        ///
        /// Those of [`AsyncEeprom::update_trusting`], and [`Error::WriteProtectPin`].
        pub async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
            self.released(bytes.len(), async |eeprom| eeprom.update_trusting(offset, bytes).await).await
        }

        async fn released<T>(
            &mut self,
            length: usize,
            work: impl AsyncFnOnce(&mut AsyncEeprom<I2C, D, BUF>) -> Result<T, Error<I2C::Error>>,
        ) -> Result<T, Error<I2C::Error>> {
            let Ok(released) = Released::new(&mut self.pin) else {
                return Err(Error::WriteProtectPin { safe_bytes: 0 });
            };
            self.eeprom.delay.delay_us(self.timing.setup_us).await;
            let result = work(&mut self.eeprom).await;
            self.eeprom.delay.delay_us(self.timing.hold_us).await;
            released.finish(result, length)
        }
    }
}

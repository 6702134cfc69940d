//! The blocking driver.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorType, I2c};

use crate::address::Location;
use crate::error::Error;
use crate::geometry::Geometry;
use crate::memory::{Extent, Memory};
use crate::options::{Config, Options};
use crate::plan::{Action, Difference, Job, Outcome, Plan, State, Updated};
use crate::region::{InRegion, Region};
use crate::shell::{Request, frame, target};
use crate::trust::Trust;

/// The verbs of what has `run`, a `state` and `has_cycle`: the array, and a region beside it.
macro_rules! verbs {
    () => {
        fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::read(Job::Read, offset, bytes.len()), bytes)
        }

        fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::write(offset, bytes), &mut [])
        }

        fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
            self.state.forget();
            let mut result = self.run(&Request::compare(Job::WriteVerified, offset, bytes), &mut []);
            if let Err(error) = &mut result {
                error.tell_difference(&self.state, offset);
            }
            result
        }

        fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::fill(offset, length, &byte), &mut [])
        }

        fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
            self.state.forget();
            self.run(&Request::compare(Job::Compare, offset, bytes), &mut [])?;
            Ok(self.state.difference())
        }

        fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
            self.state.forget();
            self.run(&Request::compare(Job::Update, offset, bytes), &mut [])?;
            Ok(self.state.updated())
        }

        fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
            if !self.has_cycle() {
                return self.update_trusting(offset, bytes);
            }
            self.state.forget();
            self.run(&Request::write(offset, bytes), &mut [])?;
            Ok(self.state.updated())
        }
    };
}

mod region;

/// A serial EEPROM on an I2C bus.
///
/// `BUF` is the size of the buffer that holds header and data of one page write side by side; use
/// [`Geometry::buffer_bytes`]. A smaller one is refused by each call that needs it ([`Error::BufferTooSmall`]), unless
/// [`Options::with_split_pages`] asks for it; a larger one is of no use.
///
/// After a call, whether it worked, failed or never returned, the next one first waits for a write that may still be
/// in its cycle.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Eeprom, Geometry, Options, Parameters};
///
/// const PART: Geometry = Geometry::new(
///     Parameters::new()
///         .with_capacity_bytes(4096)
///         .with_page_bytes(32)
///         .with_word_address_bytes(2)
///         .with_sequential_read_bytes(4096)
///         .with_write_cycle_us(5_000),
/// );
///
/// let i2c = Mock::new(&[
///     Transaction::write(0x50, vec![0x00, 0x1E, 1, 2]), // to the end of the first page
///     Transaction::write(0x50, vec![0x00, 0x20, 3, 4]), // the rest, in the next page; repeated until it is answered
///     Transaction::write(0x50, vec![0x00, 0x20]),       // the last page is polled for: answered
///     Transaction::write_read(0x50, vec![0x00, 0x1E], vec![1, 2, 3, 4]),
/// ]);
/// let mut eeprom = Eeprom::<_, _, { PART.buffer_bytes() }>::new(i2c, NoopDelay, PART, Options::new());
/// eeprom.write(0x1E, &[1, 2, 3, 4])?;
/// let mut back = [0; 4];
/// eeprom.read(0x1E, &mut back)?;
/// assert_eq!(back, [1, 2, 3, 4]);
/// # let (mut i2c, _) = eeprom.release();
/// # i2c.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct Eeprom<I2C, D, const BUF: usize> {
    i2c: I2C,
    pub(crate) delay: D,
    buffer: [u8; BUF],
    pub(crate) config: Config,
    pub(crate) state: State,
}

impl<I2C, D, const BUF: usize> Eeprom<I2C, D, BUF> {
    /// A driver that owns its bus handle and its delay. Sends nothing.
    #[inline(always)]
    pub const fn new(i2c: I2C, delay: D, geometry: Geometry, options: Options) -> Self {
        let config = Config::new(geometry, &options, BUF);
        Self { i2c, delay, buffer: [0; BUF], config, state: State::new() }
    }

    /// Capacity in bytes.
    pub const fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }

    /// The part that this driver was made for.
    pub const fn geometry(&self) -> &Geometry {
        &self.config.geometry
    }

    /// Gives bus and delay back. A write cycle may still be running in lazy mode; see [`Eeprom::wait_ready`].
    pub fn release(self) -> (I2C, D) {
        (self.i2c, self.delay)
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> Eeprom<I2C, D, BUF> {
    /// [`Memory::read`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        Memory::read(self, offset, bytes)
    }

    /// [`Memory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        Memory::write(self, offset, bytes)
    }

    /// [`Memory::write_verified`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        Memory::write_verified(self, offset, bytes)
    }

    /// [`Memory::fill`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        Memory::fill(self, offset, length, byte)
    }

    /// [`Memory::compare`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        Memory::compare(self, offset, bytes)
    }

    /// [`Memory::update`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
        Memory::update(self, offset, bytes, trust)
    }

    /// [`Memory::update_trusting`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        Memory::update_trusting(self, offset, bytes)
    }

    /// [`Memory::wait_ready`].
    ///
    /// # Errors
    ///
    /// As there.
    pub fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        Memory::wait_ready(self)
    }

    /// Reads from where the part's own pointer stands, without sending an address.
    ///
    /// The pointer is undefined after power-up and differs between parts after a write or a poll; it is certain only
    /// after a read through this driver. The device address is that of the byte behind the last request. A missing ACK
    /// is not polled for, since a poll would move the pointer; but a write that an earlier call left in its cycle is
    /// waited for.
    ///
    /// - **On the wire**: `S 50R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] on a part without word-address bytes; [`Error::OutOfRange`] if more than the capacity is
    /// wanted; [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    pub fn current_address_read(&mut self, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        self.config.check_current(bytes.len())?;
        let address = self.config.geometry.locate(self.state.last).device_address;
        if self.state.pending().is_some() && !bytes.is_empty() {
            self.wait_ready()?;
        }
        let mut safe_bytes = 0usize;
        for part in bytes.chunks_mut(self.config.current_max()) {
            if let Err(source) = self.i2c.read(address, part) {
                return Err(self.config.current_error(source, safe_bytes));
            }
            safe_bytes = safe_bytes.saturating_add(part.len());
        }
        Ok(())
    }

    /// A region beside the array (identification page, serial number, EUI), as a memory of its own.
    pub const fn region(&mut self, region: Region) -> InRegion<'_, Self> {
        InRegion::new(self, region)
    }

    fn has_cycle(&self) -> bool {
        self.config.geometry.write_cycle_us() > 0
    }

    fn run(&mut self, request: &Request<'_>, into: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let Self { i2c, delay, buffer, config, state } = self;
        run(i2c, delay, buffer, config, state, request, into)
    }
}

impl<I2C: ErrorType, D, const BUF: usize> Extent for Eeprom<I2C, D, BUF> {
    type BusError = I2C::Error;

    fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }

    fn failures(&self) -> u32 {
        self.state.failures()
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> Memory for Eeprom<I2C, D, BUF> {
    verbs!();

    fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        self.run(&Request::read(Job::Ready, 0, 0), &mut [])
    }

    fn pause_us(&mut self, us: u32) {
        self.delay.delay_us(us);
    }
}

/// Makes a plan and executes it. The plan bounds its steps, so this ends.
fn run<I2C: I2c, D: DelayNs>(
    i2c: &mut I2C,
    delay: &mut D,
    buffer: &mut [u8],
    config: &Config,
    state: &mut State,
    request: &Request<'_>,
    into: &mut [u8],
) -> Result<(), Error<I2C::Error>> {
    config.check(request.job, request.offset, request.length)?;
    let mut plan = Plan::idle(config, state, request.job, request.offset, request.length);
    plan.start();
    let mut source = None;
    loop {
        let step = plan.step();
        let Location { device_address, header } = config.geometry.locate(step.offset);
        let header = header.as_bytes();
        let mut outcome = Outcome::Done;
        let result = match step.action {
            Action::Done => return Ok(()),
            Action::Wait => {
                delay.delay_us(step.us);
                Ok(())
            }
            Action::Poll if header.is_empty() => i2c.read(device_address, &mut [0]),
            Action::Poll => i2c.write(device_address, header),
            Action::Write => match frame(buffer, header, request, &step) {
                Some(bytes) => i2c.write(device_address, bytes),
                None => return Err(Error::OutOfStep),
            },
            Action::Read | Action::Compare => {
                let Some(target) = target(buffer, into, &step) else { return Err(Error::OutOfStep) };
                let result = read(i2c, device_address, header, target);
                if let (Some(compare), Ok(()), Action::Compare) = (request.compare, &result, step.action) {
                    outcome = compare(&mut plan, target, request, step.start);
                }
                result
            }
        };
        if let Err(error) = result {
            outcome = config.classify(&error);
            source = Some(error);
        }
        if let Err(failure) = plan.complete(outcome) {
            return Err(Error::from_failure(&mut plan, failure, source));
        }
    }
}

/// A random read; without a header the device address alone says where.
fn read<I2C: I2c>(i2c: &mut I2C, device_address: u8, header: &[u8], into: &mut [u8]) -> Result<(), I2C::Error> {
    if header.is_empty() { i2c.read(device_address, into) } else { i2c.write_read(device_address, header, into) }
}

//! The blocking driver.

mod region;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use crate::address::Location;
use crate::error::Error;
use crate::geometry::Geometry;
use crate::options::{Config, Options};
use crate::plan::{Action, Difference, Job, Outcome, Plan, State, Updated};
use crate::shell::{Request, frame, target};
use crate::trust::Trust;

/// A serial EEPROM on an I2C bus.
///
/// `BUF` is the size of the buffer that holds header and data of one page write side by side; use
/// [`Geometry::buffer_bytes`]. A smaller buffer splits pages into several write cycles, a larger one is of no use.
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
/// const PART: Geometry = Geometry::new(Parameters {
///     capacity_bytes: 4096,
///     page_bytes: 32,
///     word_address_bytes: 2,
///     device_address: 0x50,
///     block_select_bits: 0,
///     block_select_shift: 0,
///     sequential_read_bytes: 4096,
///     write_cycle_us: 5_000,
/// });
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

impl<I2C: I2c, D: DelayNs, const BUF: usize> Eeprom<I2C, D, BUF> {
    /// A driver that owns its bus handle and its delay. Sends nothing.
    #[inline(always)]
    pub const fn new(i2c: I2C, delay: D, geometry: Geometry, options: Options) -> Self {
        let config = Config::new(geometry, &options, BUF);
        Self { i2c, delay, buffer: [0; BUF], config, state: State::new() }
    }

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
    pub fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::read(Job::Read, offset, bytes.len()), bytes)
    }

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteProtected`], [`Error::WriteCycleOverrun`], [`Error::Bus`]. [`Error::safe_bytes`] says how many
    /// bytes, from the start, are known to be stored; the page after them is indeterminate.
    pub fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::write(offset, bytes), &mut [])
    }

    /// As `write`, and reads each page back after its write cycle. Finds a protected part that ACKs data and drops it.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, then the reading back, tried until the write has ended
    ///   (`S 50W- P` while it has not): `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: as of a write: pages before the one in its write cycle are stored, pages after it are as they
    ///   were; that one may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::write`], and [`Error::Verify`].
    pub fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.state.forget();
        let mut result = self.run(&Request::compare(Job::WriteVerified, offset, bytes), &mut []);
        if let Err(error) = &mut result {
            error.tell_difference(&self.state, offset);
        }
        result
    }

    /// Writes `length` times the same byte at `offset`, page by page.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ AB+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::write`].
    pub fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::fill(offset, length, &byte), &mut [])
    }

    /// Compares the part with `bytes`, reading up to the first difference. A page that was cut by a loss of supply may
    /// read right now and wrong later.
    ///
    /// - **On the wire**, per page, up to the first difference: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::read`]. A difference is a result, not an error.
    pub fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        self.state.forget();
        self.run(&Request::compare(Job::Compare, offset, bytes), &mut [])?;
        Ok(self.state.difference())
    }

    /// Makes the part hold `bytes` at `offset`, and writes no page that holds them already. Saves wear and time where
    /// little has changed.
    ///
    /// A page that reads right is kept only where `trust` vouches for it: after a loss of supply in its write cycle it
    /// may read right now and wrong later. All other pages are written without a look. See [`Trust`].
    ///
    /// - **On the wire**, per page that is not trusted, as of [`Eeprom::write`]; per trusted page the comparison:
    ///   `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited
    ///   for (`S 50W- P` while it has not come, then the next access or the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of a write; pages that are kept are not touched.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::read`] and [`Eeprom::write`].
    pub fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
        self.config.check(Job::Update, offset, bytes.len())?;
        trust.renew(self.state.failures());
        let (mut total, mut done) = (Updated::default(), 0usize);
        while let Some(piece) = trust.piece(offset, bytes.len(), done) {
            let end = done.wrapping_add(piece.length);
            let Some(part) = bytes.get(done..end) else { return Err(Error::OutOfStep) };
            let updated = self.update_piece(piece.offset, part, piece.trusted);
            total = total.plus(updated.map_err(|error| error.moved(0, done))?);
            trust.add(piece.offset, piece.length);
            done = end;
        }
        Ok(total)
    }

    /// Makes the part hold `bytes` at `offset`, as [`Eeprom::update`], and trusts each page that reads right.
    ///
    /// For firmware that knows that no write to these bytes was ever cut by a loss of supply. Where it does not, a page
    /// that was cut may be kept, since it reads right now, and read wrong later.
    ///
    /// - **On the wire**, per page the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write
    ///   `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited for (`S 50W- P` while it has not come, then the next access or
    ///   the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of a write; pages that were equal are not touched.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::read`] and [`Eeprom::write`].
    pub fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        self.state.forget();
        self.run(&Request::compare(Job::Update, offset, bytes), &mut [])?;
        Ok(self.state.updated())
    }

    /// Bytes that are all trusted, or none of them. A part without write cycles has none that could be cut.
    pub(crate) fn update_piece(
        &mut self,
        offset: u32,
        bytes: &[u8],
        trusted: bool,
    ) -> Result<Updated, Error<I2C::Error>> {
        if trusted || self.config.geometry.write_cycle_us() == 0 {
            return self.update_trusting(offset, bytes);
        }
        self.state.forget();
        self.write(offset, bytes)?;
        Ok(self.state.updated())
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

    /// Waits until the part answers: for the write that an earlier call left in its cycle, or else at its first
    /// address. A part without word-address bytes is asked with a read of one byte.
    ///
    /// - **On the wire**: `S 50W+ 00+ 00+ P`, tried until it is answered (`S 50W- P` before); at the place of the write
    ///   that is waited for, if there is one.
    /// - **Power loss**: changes nothing; it tells nothing about a write before it.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    pub fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::read(Job::Ready, 0, 0), &mut [])
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

    fn run(&mut self, request: &Request<'_>, into: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let Self { i2c, delay, buffer, config, state } = self;
        run(i2c, delay, buffer, config, state, request, into)
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

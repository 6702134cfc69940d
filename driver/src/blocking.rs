//! The blocking driver.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use crate::error::Error;
use crate::plan::{Difference, Job, Outcome, Plan, Step, Updated};
use crate::shell::{Data, State, compare, frame};
use crate::{Geometry, Options};

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
///     Transaction::write(0x50, vec![0x00, 0x1E]),       // poll: answered
///     Transaction::write(0x50, vec![0x00, 0x20, 3, 4]), // the rest, in the next page
///     Transaction::write(0x50, vec![0x00, 0x20]),
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
    delay: D,
    buffer: [u8; BUF],
    pub(crate) state: State,
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> Eeprom<I2C, D, BUF> {
    /// A driver that owns its bus handle and its delay. Sends nothing.
    pub const fn new(i2c: I2C, delay: D, geometry: Geometry, options: Options) -> Self {
        Self { i2c, delay, buffer: [0; BUF], state: State::new(geometry, &options, BUF) }
    }

    /// Reads `bytes.len()` bytes from `offset`.
    ///
    /// On the wire (`S` START, `SR` repeated START, `P` STOP, `A` ACK, `N` NACK), once per sequential-read block and
    /// per `max_transfer_bytes`:
    ///
    /// ```text
    /// S  device+W A  word address A..  SR  device+R A  data A..  data N  P
    /// ```
    ///
    /// A part without word-address bytes: `S device+R A data A.. data N P`, the device address being the offset.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteCycleOverrun`] (an earlier write never ended), [`Error::Bus`].
    pub fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let plan = self.plan(Job::Read, offset, bytes.len())?;
        self.run(plan, Data::Into(bytes), offset)?;
        Ok(())
    }

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// On the wire, once per page; the last line repeats until the part answers:
    ///
    /// ```text
    /// S  device+W A  word address A..  data A..  P
    /// S  device+W A  word address A..  P
    /// ```
    ///
    /// # Power loss
    ///
    /// Pages before the one in flight are stored, pages after it are untouched; the one in flight may hold anything
    /// between old and new, byte by byte.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteProtected`], [`Error::WriteCycleOverrun`], [`Error::Bus`]. [`Error::safe_bytes`] says how many
    /// bytes, from the start, are known to be stored; the page after them is indeterminate.
    pub fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        let plan = self.plan(Job::Write, offset, bytes.len())?;
        self.run(plan, Data::From(bytes), offset)?;
        Ok(())
    }

    /// As [`Eeprom::write`], and reads each page back after its write cycle. Finds a protected part that ACKs data
    /// and drops it.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::write`], and [`Error::Verify`].
    pub fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        let plan = self.plan(Job::WriteVerified, offset, bytes.len())?;
        self.run(plan, Data::From(bytes), offset)?;
        Ok(())
    }

    /// Writes `length` times the same byte at `offset`, page by page.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::write`].
    pub fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        let plan = self.plan(Job::Write, offset, length)?;
        self.run(plan, Data::Fill(byte), offset)?;
        Ok(())
    }

    /// Compares the part with `bytes`, reading up to the first difference.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::read`]. A difference is a result, not an error.
    pub fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        let plan = self.plan(Job::Compare, offset, bytes.len())?;
        Ok(self.run(plan, Data::From(bytes), offset)?.difference())
    }

    /// Makes the part hold `bytes` at `offset`: reads each page first and writes only those that differ. Saves wear
    /// and time where little has changed.
    ///
    /// # Errors
    ///
    /// Those of [`Eeprom::read`] and [`Eeprom::write`].
    pub fn update(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        let plan = self.plan(Job::Update, offset, bytes.len())?;
        Ok(self.run(plan, Data::From(bytes), offset)?.updated())
    }

    /// Reads from where the part's own pointer stands, without sending an address.
    ///
    /// ```text
    /// S  device+R A  data A..  data N  P
    /// ```
    ///
    /// The pointer is undefined after power-up and differs between parts after a write or a poll; it is certain only
    /// after a read through this driver. The device address is that of the last access. A read without ACK is
    /// repeated within the bound, since a poll would move the pointer.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] on a part without word-address bytes; [`Error::OutOfRange`] if more than the capacity is
    /// wanted; [`Error::BufferTooSmall`], [`Error::NotAnswering`], [`Error::Bus`].
    pub fn current_address_read(&mut self, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        if self.state.geometry.word_address_bytes() == 0 {
            return Err(Error::Unsupported);
        }
        let State { geometry, policy, last_address, .. } = self.state;
        let plan = Plan::current(geometry, policy, last_address, bytes.len())?;
        self.run(plan, Data::Into(bytes), 0)?;
        Ok(())
    }

    /// Waits until the part answers: for the write that an earlier call left in its cycle, or else at its first
    /// address.
    ///
    /// ```text
    /// S  device+W A  word address A..  P
    /// ```
    ///
    /// A part without word-address bytes is asked with a read of one byte.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    pub fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        let plan = Plan::ready(self.state.geometry, self.state.policy).after(self.state.pending);
        self.run(plan, Data::None, 0)?;
        Ok(())
    }

    /// Capacity in bytes.
    pub const fn capacity(&self) -> u32 {
        self.state.geometry.capacity_bytes()
    }

    /// The part that this driver was made for.
    pub const fn geometry(&self) -> &Geometry {
        &self.state.geometry
    }

    /// Gives bus and delay back. A write cycle may still be running in lazy mode; see [`Eeprom::wait_ready`].
    pub fn release(self) -> (I2C, D) {
        (self.i2c, self.delay)
    }

    fn plan(&self, job: Job, offset: u32, length: usize) -> Result<Plan, Error<I2C::Error>> {
        let plan = Plan::new(self.state.geometry, self.state.policy, job, offset, length)?;
        Ok(plan.after(self.state.pending))
    }

    /// Executes a plan. The plan bounds its steps, so this ends.
    fn run(&mut self, mut plan: Plan, mut data: Data<'_>, offset: u32) -> Result<Plan, Error<I2C::Error>> {
        let mut source = None;
        loop {
            let step = plan.next();
            if step == Step::Done {
                return Ok(plan);
            }
            self.state.before(&step);
            let outcome = match self.perform(&step, &mut data) {
                Ok(outcome) => outcome,
                Err(error) => {
                    let outcome = self.state.classify(&error);
                    source = Some(error);
                    outcome
                }
            };
            self.state.after(&step, &outcome);
            if let Err(failure) = plan.complete(outcome) {
                return Err(Error::from_failure(failure, offset, plan.safe_bytes(), source));
            }
        }
    }

    /// One step on the bus. A step that names bytes which are not there comes from a fault of this crate; nothing is
    /// sent then, and it ends as [`Error::OutOfStep`].
    fn perform(&mut self, step: &Step, data: &mut Data<'_>) -> Result<Outcome, I2C::Error> {
        match *step {
            Step::Write { place, start, length } => {
                let Some(bytes) = frame(&mut self.buffer, &place.header, data, start, length) else {
                    return Ok(Outcome::Failed);
                };
                self.i2c.write(place.device_address, bytes)?;
            }
            Step::Read { place, start, length } => {
                let Some(part) = data.part(start, length) else { return Ok(Outcome::Failed) };
                if place.header.is_empty() {
                    self.i2c.read(place.device_address, part)?;
                } else {
                    self.i2c.write_read(place.device_address, place.header.as_bytes(), part)?;
                }
            }
            Step::Compare { place, start, length } => {
                let Some(scratch) = self.buffer.get_mut(..length) else { return Ok(Outcome::Failed) };
                if place.header.is_empty() {
                    self.i2c.read(place.device_address, scratch)?;
                } else {
                    self.i2c.write_read(place.device_address, place.header.as_bytes(), scratch)?;
                }
                return Ok(compare(scratch, data, start));
            }
            Step::Poll { place } if place.header.is_empty() => self.i2c.read(place.device_address, &mut [0])?,
            Step::Poll { place } => self.i2c.write(place.device_address, place.header.as_bytes())?,
            Step::Wait { us } => self.delay.delay_us(us),
            Step::Done => {}
        }
        Ok(Outcome::Done)
    }
}

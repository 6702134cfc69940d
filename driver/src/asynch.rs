//! The async driver: the blocking one, with `await` at each bus call and each pause.

mod region;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use crate::address::Location;
use crate::error::Error;
use crate::geometry::Geometry;
use crate::options::{Config, Options};
use crate::plan::{Action, Difference, Job, Outcome, Plan, State, Updated};
use crate::shell::{Request, frame, target};
use crate::trust::Trust;

/// A serial EEPROM on an I2C bus, for async code; no executor is assumed.
///
/// Methods, wire lines, errors and power-loss behaviour are those of [`Eeprom`](crate::Eeprom), from the same planner.
///
/// # Cancellation
///
/// A call may be dropped at any `await`. A read leaves nothing behind. A write leaves the pages that it has settled,
/// and perhaps the one in flight; the driver remembers that one and the next call waits for its end first. Whether the
/// HAL's own future may be dropped is the HAL's affair: some leave the controller in the middle of a transfer.
///
/// # Examples
///
/// ```
/// # use std::{future::Future, pin::pin, task::{Context, Poll, Waker}};
/// # use embedded_hal::i2c::{ErrorKind, ErrorType, Operation};
/// # struct Bus;
/// # impl ErrorType for Bus { type Error = ErrorKind; }
/// # impl embedded_hal_async::i2c::I2c for Bus {
/// #     async fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), ErrorKind> { Ok(()) }
/// # }
/// # struct Timer;
/// # impl embedded_hal_async::delay::DelayNs for Timer { async fn delay_ns(&mut self, _: u32) {} }
/// use pagewise_driver::{AsyncEeprom, Error, Geometry, Options, Parameters};
///
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// async fn store(bus: Bus, timer: Timer) -> Result<(), Error<ErrorKind>> {
///     let mut eeprom = AsyncEeprom::<_, _, { PART.buffer_bytes() }>::new(bus, timer, PART, Options::new());
///     eeprom.write(0x1E, &[1, 2, 3, 4]).await
/// }
/// # let done = pin!(store(Bus, Timer)).poll(&mut Context::from_waker(Waker::noop()));
/// # assert!(matches!(done, Poll::Ready(Ok(()))));
/// ```
#[derive(Debug)]
pub struct AsyncEeprom<I2C, D, const BUF: usize> {
    i2c: I2C,
    pub(crate) delay: D,
    buffer: [u8; BUF],
    pub(crate) config: Config,
    pub(crate) state: State,
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncEeprom<I2C, D, BUF> {
    /// As [`Eeprom::new`](crate::Eeprom::new).
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
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteCycleOverrun`] (an earlier write never ended), [`Error::Bus`].
    pub async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::read(Job::Read, offset, bytes.len()), bytes).await
    }

    /// Writes `bytes` at `offset`, page by page, and waits for each write cycle.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, tried until the write before it has ended (`S 50W- P`
    ///   while it has not); after the last page the poll `S 50W+ 01+ 23+ P`.
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`], [`Error::BufferTooSmall`] before anything is sent; [`Error::NotAnswering`],
    /// [`Error::WriteProtected`], [`Error::WriteCycleOverrun`], [`Error::Bus`]. [`Error::safe_bytes`] says how many
    /// bytes, from the start, are known to be stored; the page after them is indeterminate.
    pub async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::write(offset, bytes), &mut []).await
    }

    /// As `write`, and reads each page back after its write cycle. Finds a protected part that ACKs data and drops it.
    ///
    /// - **On the wire**, per page: `S 50W+ 01+ 23+ AB+ CD+ P`, then the reading back, tried until the write has ended
    ///   (`S 50W- P` while it has not): `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: as of a write: pages before the one in its write cycle are stored, pages after it are as they
    ///   were; that one may hold old, new or other bytes.
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// Those of [`AsyncEeprom::write`], and [`Error::Verify`].
    pub async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.state.forget();
        let mut result = self.run(&Request::compare(Job::WriteVerified, offset, bytes), &mut []).await;
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
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// Those of [`AsyncEeprom::write`].
    pub async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::fill(offset, length, &byte), &mut []).await
    }

    /// Compares the part with `bytes`, reading up to the first difference. A page that was cut by a loss of supply may
    /// read right now and wrong later.
    ///
    /// - **On the wire**, per page, up to the first difference: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of [`AsyncEeprom::read`]. A difference is a result, not an error.
    pub async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        self.state.forget();
        self.run(&Request::compare(Job::Compare, offset, bytes), &mut []).await?;
        Ok(self.state.difference())
    }

    /// Makes the part hold `bytes` at `offset`, and writes no page that holds them already. Saves wear and time where
    /// little has changed.
    ///
    /// A page that reads right is kept only where `trust` vouches for it: after a loss of supply in its write cycle it
    /// may read right now and wrong later. All other pages are written without a look. See [`Trust`].
    ///
    /// - **On the wire**, per page that is not trusted, as of [`AsyncEeprom::write`]; per trusted page the comparison:
    ///   `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited
    ///   for (`S 50W- P` while it has not come, then the next access or the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of a write; pages that are kept are not touched.
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// Those of [`AsyncEeprom::read`] and [`AsyncEeprom::write`].
    pub async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
        self.config.check(Job::Update, offset, bytes.len())?;
        trust.renew(self.state.failures());
        let (mut total, mut done) = (Updated::default(), 0usize);
        while let Some(piece) = trust.piece(offset, bytes.len(), done) {
            let end = done.wrapping_add(piece.length);
            let Some(part) = bytes.get(done..end) else { return Err(Error::OutOfStep) };
            let updated = self.update_piece(piece.offset, part, piece.trusted).await;
            total = total.plus(updated.map_err(|error| error.moved(0, done))?);
            trust.add(piece.offset, piece.length);
            done = end;
        }
        Ok(total)
    }

    /// Makes the part hold `bytes` at `offset`, as [`AsyncEeprom::update`], and trusts each page that reads right.
    ///
    /// For firmware that knows that no write to these bytes was ever cut by a loss of supply. Where it does not, a page
    /// that was cut may be kept, since it reads right now, and read wrong later.
    ///
    /// - **On the wire**, per page the comparison: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`; where it differs, the write
    ///   `S 50W+ 01+ 23+ 12+ 34+ P`, whose end is waited for (`S 50W- P` while it has not come, then the next access or
    ///   the poll `S 50W+ 01+ 23+ P`).
    /// - **Power loss**: as of a write; pages that were equal are not touched.
    /// - **Cancelled**: pages before the one under way are stored, that one is stored or not; the next call waits for
    ///   its write cycle first.
    ///
    /// # Errors
    ///
    /// Those of [`AsyncEeprom::read`] and [`AsyncEeprom::write`].
    pub async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        self.state.forget();
        self.run(&Request::compare(Job::Update, offset, bytes), &mut []).await?;
        Ok(self.state.updated())
    }

    /// Bytes that are all trusted, or none of them. A part without write cycles has none that could be cut.
    pub(crate) async fn update_piece(
        &mut self,
        offset: u32,
        bytes: &[u8],
        trusted: bool,
    ) -> Result<Updated, Error<I2C::Error>> {
        if trusted || self.config.geometry.write_cycle_us() == 0 {
            return self.update_trusting(offset, bytes).await;
        }
        self.state.forget();
        self.write(offset, bytes).await?;
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
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] on a part without word-address bytes; [`Error::OutOfRange`] if more than the capacity is
    /// wanted; [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    pub async fn current_address_read(&mut self, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        self.config.check_current(bytes.len())?;
        let address = self.config.geometry.locate(self.state.last).device_address;
        if self.state.pending().is_some() && !bytes.is_empty() {
            self.wait_ready().await?;
        }
        let mut safe_bytes = 0usize;
        for part in bytes.chunks_mut(self.config.current_max()) {
            if let Err(source) = self.i2c.read(address, part).await {
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
    /// - **Cancelled**: leaves nothing behind; the next call waits anew.
    ///
    /// # Errors
    ///
    /// [`Error::NotAnswering`], [`Error::WriteCycleOverrun`], [`Error::Bus`].
    pub async fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        self.run(&Request::read(Job::Ready, 0, 0), &mut []).await
    }

    /// Capacity in bytes.
    pub const fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }

    /// The part that this driver was made for.
    pub const fn geometry(&self) -> &Geometry {
        &self.config.geometry
    }

    /// Gives bus and delay back, as [`Eeprom::release`](crate::Eeprom::release).
    pub fn release(self) -> (I2C, D) {
        (self.i2c, self.delay)
    }

    async fn run(&mut self, request: &Request<'_>, into: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let Self { i2c, delay, buffer, config, state } = self;
        run(i2c, delay, buffer, config, state, request, into).await
    }
}

/// Makes a plan and executes it. The plan bounds its steps, so this ends.
async fn run<I2C: I2c, D: DelayNs>(
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
                delay.delay_us(step.us).await;
                Ok(())
            }
            Action::Poll if header.is_empty() => i2c.read(device_address, &mut [0]).await,
            Action::Poll => i2c.write(device_address, header).await,
            Action::Write => match frame(buffer, header, request, &step) {
                Some(bytes) => i2c.write(device_address, bytes).await,
                None => return Err(Error::OutOfStep),
            },
            Action::Read | Action::Compare => {
                let Some(target) = target(buffer, into, &step) else { return Err(Error::OutOfStep) };
                let result = read(i2c, device_address, header, target).await;
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
async fn read<I2C: I2c>(i2c: &mut I2C, device_address: u8, header: &[u8], into: &mut [u8]) -> Result<(), I2C::Error> {
    if header.is_empty() {
        i2c.read(device_address, into).await
    } else {
        i2c.write_read(device_address, header, into).await
    }
}

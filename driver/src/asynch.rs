//! The async driver: the blocking one, with `await` at each bus call and each pause.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::{ErrorType, I2c};

use crate::address::Location;
use crate::error::Error;
use crate::geometry::Geometry;
use crate::memory::{AsyncMemory, Extent};
use crate::options::{Config, Options};
use crate::plan::{Action, Difference, Job, Outcome, Plan, State, Updated};
use crate::region::{InRegion, Region};
use crate::shell::{Request, frame, target};
use crate::trust::Trust;

/// The verbs of what has `run`, a `state` and `has_cycle`: the array, and a region beside it.
macro_rules! verbs_async {
    () => {
        async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::read(Job::Read, offset, bytes.len()), bytes).await
        }

        async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::write(offset, bytes), &mut []).await
        }

        async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
            self.state.forget();
            let mut result = self.run(&Request::compare(Job::WriteVerified, offset, bytes), &mut []).await;
            if let Err(error) = &mut result {
                error.tell_difference(&self.state, offset);
            }
            result
        }

        async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
            self.run(&Request::fill(offset, length, &byte), &mut []).await
        }

        async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
            self.state.forget();
            self.run(&Request::compare(Job::Compare, offset, bytes), &mut []).await?;
            Ok(self.state.difference())
        }

        async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
            self.state.forget();
            self.run(&Request::compare(Job::Update, offset, bytes), &mut []).await?;
            Ok(self.state.updated())
        }

        async fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
            if !self.has_cycle() {
                return self.update_trusting(offset, bytes).await;
            }
            self.state.forget();
            self.run(&Request::write(offset, bytes), &mut []).await?;
            Ok(self.state.updated())
        }
    };
}

mod region;

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
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
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

impl<I2C, D, const BUF: usize> AsyncEeprom<I2C, D, BUF> {
    /// As [`Eeprom::new`](crate::Eeprom::new).
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

    /// Gives bus and delay back, as [`Eeprom::release`](crate::Eeprom::release).
    pub fn release(self) -> (I2C, D) {
        (self.i2c, self.delay)
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncEeprom<I2C, D, BUF> {
    /// [`AsyncMemory::read`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        AsyncMemory::read(self, offset, bytes).await
    }

    /// [`AsyncMemory::write`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        AsyncMemory::write(self, offset, bytes).await
    }

    /// [`AsyncMemory::write_verified`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        AsyncMemory::write_verified(self, offset, bytes).await
    }

    /// [`AsyncMemory::fill`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        AsyncMemory::fill(self, offset, length, byte).await
    }

    /// [`AsyncMemory::compare`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        AsyncMemory::compare(self, offset, bytes).await
    }

    /// [`AsyncMemory::update`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
        AsyncMemory::update(self, offset, bytes, trust).await
    }

    /// [`AsyncMemory::update_trusting`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        AsyncMemory::update_trusting(self, offset, bytes).await
    }

    /// [`AsyncMemory::wait_ready`].
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        AsyncMemory::wait_ready(self).await
    }

    /// As [`Eeprom::current_address_read`](crate::Eeprom::current_address_read).
    ///
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// As there.
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

    /// A region beside the array (identification page, serial number, EUI), as a memory of its own.
    pub const fn region(&mut self, region: Region) -> InRegion<'_, Self> {
        InRegion::new(self, region)
    }

    fn has_cycle(&self) -> bool {
        self.config.geometry.write_cycle_us() > 0
    }

    async fn run(&mut self, request: &Request<'_>, into: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let Self { i2c, delay, buffer, config, state } = self;
        run(i2c, delay, buffer, config, state, request, into).await
    }
}

impl<I2C: ErrorType, D, const BUF: usize> Extent for AsyncEeprom<I2C, D, BUF> {
    type BusError = I2C::Error;

    fn capacity(&self) -> u32 {
        self.config.geometry.capacity_bytes()
    }

    fn failures(&self) -> u32 {
        self.state.failures()
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncMemory for AsyncEeprom<I2C, D, BUF> {
    verbs_async!();

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        self.run(&Request::read(Job::Ready, 0, 0), &mut []).await
    }

    async fn pause_us(&mut self, us: u32) {
        self.delay.delay_us(us).await;
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

//! A region beside the array, at its own device address, through the async driver.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::{AsyncEeprom, run};
use crate::error::Error;
use crate::geometry::Geometry;
use crate::memory::AsyncMemory;
use crate::plan::{Difference, Job, State, Updated};
use crate::region::{InRegion, Irreversible};
use crate::shell::Request;

impl<I2C: I2c, D: DelayNs, const BUF: usize> InRegion<'_, AsyncEeprom<I2C, D, BUF>> {
    /// As the `lock` of the blocking driver's region: **for ever**.
    ///
    /// - **On the wire**, at the lock's own device address: `S 58W+ 04+ 00+ 02+ P`, then `S 58W- P` while the part is
    ///   busy, then the poll `S 58W+ 04+ 00+ P`.
    /// - **Power loss**: the region is locked or it is not; whether it is shows only when it is written.
    /// - **Cancelled**: the region is locked or it is not; the next call waits for the write cycle first.
    ///
    /// # Errors
    ///
    /// As there.
    pub async fn lock(&mut self, _confirmed: Irreversible) -> Result<(), Error<I2C::Error>> {
        let (geometry, offset, data) = self.region.lock_write()?;
        self.run_at(geometry, &Request::write(offset, &[data]), &mut []).await
    }

    fn has_cycle(&self) -> bool {
        self.eeprom.has_cycle()
    }

    /// Runs a job on the bytes of the region; offsets are those of the request, also in what comes of it.
    async fn run(&mut self, request: &Request<'_>, into: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let mut inside = *request;
        inside.offset = self.region.place(request.job, request.offset, request.length)?;
        let back = request.offset.wrapping_sub(inside.offset);
        let result = self.run_at(self.region.geometry(), &inside, into).await;
        self.state.last = self.state.last.wrapping_add(back);
        result.map_err(|error| error.moved(back, 0))
    }

    async fn run_at(
        &mut self,
        geometry: Geometry,
        request: &Request<'_>,
        into: &mut [u8],
    ) -> Result<(), Error<I2C::Error>> {
        let Self { eeprom, state, .. } = self;
        let config = eeprom.config.at(geometry).ok_or(Error::Unsupported)?;
        config.check(request.job, request.offset, request.length)?;
        *state = State::new();
        if request.length == 0 {
            return Ok(());
        }
        if eeprom.state.pending().is_some() {
            eeprom.wait_ready().await?;
        }
        // A busy part is busy at the array's address too, so whatever comes of this call, the next one waits there.
        if !matches!(request.job, Job::Read | Job::Compare) {
            eeprom.state.set_pending(0);
        }
        let result = run(&mut eeprom.i2c, &mut eeprom.delay, &mut eeprom.buffer, &config, state, request, into).await;
        eeprom.state.follow(state);
        result
    }
}

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncMemory for InRegion<'_, AsyncEeprom<I2C, D, BUF>> {
    verbs_async!();

    /// Of the part: while its region is busy, so is its array.
    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        self.eeprom.wait_ready().await
    }

    async fn pause_us(&mut self, us: u32) {
        self.eeprom.pause_us(us).await;
    }
}

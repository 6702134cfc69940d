//! The calls of the async driver for regions beside the array.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::{AsyncEeprom, run};
use crate::error::Error;
use crate::geometry::Geometry;
use crate::plan::{Job, State};
use crate::region::{Irreversible, Region};
use crate::shell::Request;

impl<I2C: I2c, D: DelayNs, const BUF: usize> AsyncEeprom<I2C, D, BUF> {
    /// Reads `bytes.len()` bytes of a region (identification page, serial number, EUI), from `offset` inside it.
    ///
    /// - **On the wire**, at the region's own device address: `S 58W+ 00+ 00+ Sr 58R+ AB+ CD- P`.
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfRange`] against the region's length, [`Error::Unsupported`] if it takes another number of
    /// word-address bytes than the array; otherwise those of [`AsyncEeprom::read`].
    pub async fn read_region(
        &mut self,
        region: &Region,
        offset: u32,
        bytes: &mut [u8],
    ) -> Result<(), Error<I2C::Error>> {
        let offset = region.check(offset, bytes.len())?;
        self.run_region(region.geometry(), &Request::read(Job::Read, offset, bytes.len()), bytes).await
    }

    /// Writes `bytes` at `offset` inside a region and waits for the write cycle.
    ///
    /// - **On the wire**, at the region's own device address: `S 58W+ 00+ 00+ AB+ CD+ P`, then `S 58W- P` while the
    ///   part is busy, then the poll `S 58W+ 00+ 00+ P`.
    /// - **Power loss**: pages before the one in its write cycle are stored, pages after it are as they were; that one
    ///   may hold old, new or other bytes.
    /// - **Cancelled**: the bytes are stored or not; the next call waits for the write cycle first.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] on a read-only region and on one that takes another number of word-address bytes than the
    /// array, [`Error::OutOfRange`] against the region's length; a locked region gives [`Error::WriteProtected`] on
    /// parts that refuse data, and nothing on parts that drop it. Otherwise those of [`AsyncEeprom::write`].
    pub async fn write_region(&mut self, region: &Region, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        let offset = region.check_write(offset, bytes.len())?;
        self.run_region(region.geometry(), &Request::write(offset, bytes), &mut []).await
    }

    /// Locks a region **for ever**. There is no way back on the part.
    ///
    /// - **On the wire**, at the lock's own device address: `S 58W+ 04+ 00+ 02+ P`, then `S 58W- P` while the part is
    ///   busy, then the poll `S 58W+ 04+ 00+ P`.
    /// - **Power loss**: the region is locked or it is not; whether it is shows only when it is written.
    /// - **Cancelled**: the region is locked or it is not; the next call waits for the write cycle first.
    ///
    /// # Errors
    ///
    /// [`Error::Unsupported`] if the region has no lock, or takes another number of word-address bytes than the array;
    /// otherwise those of [`AsyncEeprom::write`].
    pub async fn lock_region(&mut self, region: &Region, _confirmed: Irreversible) -> Result<(), Error<I2C::Error>> {
        let (geometry, offset, data) = region.lock_write()?;
        self.run_region(geometry, &Request::write(offset, &[data]), &mut []).await
    }

    /// Runs a job at a region's geometry.
    async fn run_region(
        &mut self,
        geometry: Geometry,
        request: &Request<'_>,
        into: &mut [u8],
    ) -> Result<(), Error<I2C::Error>> {
        let config = self.config.at(geometry).ok_or(Error::Unsupported)?;
        config.check(request.job, request.offset, request.length)?;
        if request.length == 0 {
            return Ok(());
        }
        if self.state.pending().is_some() {
            self.wait_ready().await?;
        }
        let Self { i2c, delay, buffer, state, .. } = self;
        let mut region = State::new();
        // A busy part is busy at the array's address too, so whatever comes of this call, the next one waits there.
        if request.job == Job::Write {
            state.set_pending(0);
        }
        let result = run(i2c, delay, buffer, &config, &mut region, request, into).await;
        state.pending_like(&region);
        result
    }
}

//! The calls of several chips for async code.

use core::ops::Range;

use super::{Chips, Piece};
use crate::error::Error;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

impl<I2C, D, const BUF: usize, const N: usize> Chips<crate::AsyncEeprom<I2C, D, BUF>, N>
where
    I2C: embedded_hal_async::i2c::I2c,
    D: embedded_hal_async::delay::DelayNs,
{
    /// As [`AsyncEeprom::read`](crate::AsyncEeprom::read), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, then
    ///   `S 51W+ 00+ 00+ Sr 51R+ AB- P`.
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<I2C::Error>> {
        let length = bytes.len();
        self.each(offset, length, async |eeprom, at, range| match bytes.get_mut(range) {
            Some(part) => eeprom.read(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    /// As [`AsyncEeprom::write`](crate::AsyncEeprom::write), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy,
    ///   `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ CD+ P`, `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`.
    /// - **Power loss**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    /// - **Cancelled**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.each(offset, bytes.len(), async |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    /// As [`AsyncEeprom::write_verified`](crate::AsyncEeprom::write_verified), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy,
    ///   `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, then `S 51W+ 00+ 00+ AB+ P`, `S 51W- P` while it is busy,
    ///   `S 51W+ 00+ 00+ P` (at word address zero a poll asks), `S 51W+ 00+ 00+ Sr 51R+ AB- P`.
    /// - **Power loss**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    /// - **Cancelled**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<I2C::Error>> {
        self.each(offset, bytes.len(), async |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write_verified(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    /// As [`AsyncEeprom::fill`](crate::AsyncEeprom::fill), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ AB+ P`, `S 50W- P` while it is busy,
    ///   `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ AB+ P`, `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`.
    /// - **Power loss**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    /// - **Cancelled**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<I2C::Error>> {
        self.each(offset, length, async |eeprom, at, range| eeprom.fill(at, range.len(), byte).await).await
    }

    /// As [`AsyncEeprom::update`](crate::AsyncEeprom::update), over all chips.
    ///
    /// - **On the wire**, chip after chip; where it is not trusted, as of [`Chips::write`]; else, here from 0x0FFF on:
    ///   `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, `S 50W+ 0F+ FF+ 12+ P`, `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ P`, then
    ///   `S 51W+ 00+ 00+ Sr 51R+ AB- P`, `S 51W+ 00+ 00+ 34+ P`, `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`.
    /// - **Power loss**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    /// - **Cancelled**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<I2C::Error>> {
        self.check(offset, bytes.len())?;
        trust.renew(self.failures());
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

    /// As [`AsyncEeprom::update_trusting`](crate::AsyncEeprom::update_trusting), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, `S 50W+ 0F+ FF+ 12+ P`,
    ///   `S 50W- P` while it is busy, `S 50W+ 0F+ FF+ P`, then `S 51W+ 00+ 00+ Sr 51R+ AB- P`, `S 51W+ 00+ 00+ 34+ P`,
    ///   `S 51W- P` while it is busy, `S 51W+ 00+ 00+ P`.
    /// - **Power loss**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    /// - **Cancelled**: on the chip under way, as of its own call; chips before it are done, chips after it are as they were.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<I2C::Error>> {
        self.update_piece(offset, bytes, true).await
    }

    async fn update_piece(&mut self, offset: u32, bytes: &[u8], trusted: bool) -> Result<Updated, Error<I2C::Error>> {
        let mut total = Updated::default();
        self.each(offset, bytes.len(), async |eeprom, at, range| {
            let Some(part) = bytes.get(range) else { return Err(Error::OutOfStep) };
            total = total.plus(eeprom.update_piece(at, part, trusted).await?);
            Ok(())
        })
        .await?;
        Ok(total)
    }

    /// As [`AsyncEeprom::compare`](crate::AsyncEeprom::compare), over all chips.
    ///
    /// - **On the wire**, chip after chip, here from 0x0FFF on: `S 50W+ 0F+ FF+ Sr 50R+ AB- P`, then
    ///   `S 51W+ 00+ 00+ Sr 51R+ AB- P`.
    /// - **Power loss**: changes nothing.
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of the single chip, with offsets and safe bytes of the whole request.
    pub async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<I2C::Error>> {
        let mut first = None;
        self.each(offset, bytes.len(), async |eeprom, at, range| {
            if first.is_none() {
                let start = range.start;
                let Some(part) = bytes.get(range) else { return Err(Error::OutOfStep) };
                first = eeprom.compare(at, part).await?.map(|difference| difference.moved(start));
            }
            Ok(())
        })
        .await?;
        Ok(first)
    }

    /// As [`AsyncEeprom::wait_ready`](crate::AsyncEeprom::wait_ready), for each chip in turn. In lazy mode everything
    /// is stored when it returns.
    ///
    /// - **On the wire**, chip after chip: `S 50W+ 00+ 00+ P`, then `S 51W+ 00+ 00+ P`, each tried until it is answered
    ///   (`S 50W- P` before); at the place of the write that is waited for, if there is one.
    /// - **Power loss**: changes nothing; it tells nothing about a write before it.
    /// - **Cancelled**: leaves nothing behind; the next call waits anew.
    ///
    /// # Errors
    ///
    /// Those of the single chip.
    pub async fn wait_ready(&mut self) -> Result<(), Error<I2C::Error>> {
        for index in 0..N {
            self.select(index).ok_or(Error::OutOfStep)?;
            self.eeprom.wait_ready().await?;
        }
        Ok(())
    }

    async fn each(
        &mut self,
        offset: u32,
        length: usize,
        mut work: impl AsyncFnMut(&mut crate::AsyncEeprom<I2C, D, BUF>, u32, Range<usize>) -> Result<(), Error<I2C::Error>>,
    ) -> Result<(), Error<I2C::Error>> {
        self.check(offset, length)?;
        let mut done = 0usize;
        while let Some(Piece { base, offset, range }) = self.piece(offset, length, done) {
            let end = range.end;
            work(&mut self.eeprom, offset, range).await.map_err(|error| error.moved(base, done))?;
            done = end;
        }
        Ok(())
    }
}

//! The verbs of several chips in async code.

use core::ops::Range;

use super::{Chips, Core, Piece};
use crate::error::Error;
use crate::memory::{AsyncMemory, inside};
use crate::plan::{Difference, Updated};

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: AsyncMemory + Core, const N: usize> Chips<T, N> {
    async fn each_async(
        &mut self,
        offset: u32,
        length: usize,
        mut work: impl AsyncFnMut(&mut T, u32, Range<usize>) -> Result<(), Error<T::BusError>>,
    ) -> Result<(), Error<T::BusError>> {
        inside(self.capacity(), offset, length)?;
        let mut done = 0usize;
        while let Some(Piece { base, offset, range }) = self.piece(offset, length, done) {
            let end = range.end;
            work(&mut self.eeprom, offset, range).await.map_err(|error| error.moved(base, done))?;
            done = end;
        }
        Ok(())
    }

    /// Bytes that are all trusted, or none of them.
    async fn update_piece_async(
        &mut self,
        offset: u32,
        bytes: &[u8],
        trusted: bool,
    ) -> Result<Updated, Error<T::BusError>> {
        let mut total = Updated::default();
        self.each_async(offset, bytes.len(), async |eeprom, at, range| {
            let Some(part) = bytes.get(range) else { return Err(Error::OutOfStep) };
            let updated =
                if trusted { eeprom.update_trusting(at, part).await } else { eeprom.update_suspect(at, part).await };
            total = total.plus(updated?);
            Ok(())
        })
        .await?;
        Ok(total)
    }
}

#[allow(private_bounds, reason = "the two drivers are all there is")]
impl<T: AsyncMemory + Core, const N: usize> AsyncMemory for Chips<T, N> {
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        self.each_async(offset, bytes.len(), async |eeprom, at, range| match bytes.get_mut(range) {
            Some(part) => eeprom.read(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.each_async(offset, bytes.len(), async |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.each_async(offset, bytes.len(), async |eeprom, at, range| match bytes.get(range) {
            Some(part) => eeprom.write_verified(at, part).await,
            None => Err(Error::OutOfStep),
        })
        .await
    }

    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        self.each_async(offset, length, async |eeprom, at, range| eeprom.fill(at, range.len(), byte).await).await
    }

    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        let mut first = None;
        self.each_async(offset, bytes.len(), async |eeprom, at, range| {
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

    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.update_piece_async(offset, bytes, true).await
    }

    async fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.update_piece_async(offset, bytes, false).await
    }

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        for index in 0..N {
            self.select(index).ok_or(Error::OutOfStep)?;
            self.eeprom.wait_ready().await?;
        }
        Ok(())
    }

    async fn pause_us(&mut self, us: u32) {
        self.eeprom.pause_us(us).await;
    }
}

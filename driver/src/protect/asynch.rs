//! The write-protect pin in async code.

use embedded_hal::digital::OutputPin;

use super::{Protected, Released};
use crate::error::Error;
use crate::memory::AsyncMemory;
use crate::plan::{Difference, Updated};
use crate::trust::Trust;

impl<T: AsyncMemory, P: OutputPin> Protected<T, P> {
    async fn released_async<R>(
        &mut self,
        length: usize,
        work: impl AsyncFnOnce(&mut T) -> Result<R, Error<T::BusError>>,
    ) -> Result<R, Error<T::BusError>> {
        let Ok(released) = Released::new(&mut self.pin) else {
            return Err(Error::WriteProtectPin { safe_bytes: 0 });
        };
        self.eeprom.pause_us(self.timing.setup_us).await;
        let result = work(&mut self.eeprom).await;
        self.eeprom.pause_us(self.timing.hold_us).await;
        released.finish(result, length)
    }
}

impl<T: AsyncMemory, P: OutputPin> AsyncMemory for Protected<T, P> {
    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error<Self::BusError>> {
        self.eeprom.read(offset, bytes).await
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.released_async(bytes.len(), async |memory| memory.write(offset, bytes).await).await
    }

    async fn write_verified(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error<Self::BusError>> {
        self.released_async(bytes.len(), async |memory| memory.write_verified(offset, bytes).await).await
    }

    async fn fill(&mut self, offset: u32, length: usize, byte: u8) -> Result<(), Error<Self::BusError>> {
        self.released_async(length, async |memory| memory.fill(offset, length, byte).await).await
    }

    async fn compare(&mut self, offset: u32, bytes: &[u8]) -> Result<Option<Difference>, Error<Self::BusError>> {
        self.eeprom.compare(offset, bytes).await
    }

    async fn update(&mut self, offset: u32, bytes: &[u8], trust: &mut Trust) -> Result<Updated, Error<Self::BusError>> {
        self.released_async(bytes.len(), async |memory| memory.update(offset, bytes, trust).await).await
    }

    async fn update_trusting(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.released_async(bytes.len(), async |memory| memory.update_trusting(offset, bytes).await).await
    }

    async fn update_suspect(&mut self, offset: u32, bytes: &[u8]) -> Result<Updated, Error<Self::BusError>> {
        self.released_async(bytes.len(), async |memory| memory.update_suspect(offset, bytes).await).await
    }

    async fn wait_ready(&mut self) -> Result<(), Error<Self::BusError>> {
        self.eeprom.wait_ready().await
    }

    async fn pause_us(&mut self, us: u32) {
        self.eeprom.pause_us(us).await;
    }
}

//! The fake bus and clock behind the async traits.

use std::future::Future;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use embedded_hal::i2c::{ErrorKind, ErrorType, Operation};

use super::{Bus, Clock};

/// The bus for async drivers; nothing of it is ever pending.
pub struct AsyncBus(pub Bus);

impl ErrorType for AsyncBus {
    type Error = ErrorKind;
}

impl embedded_hal_async::i2c::I2c for AsyncBus {
    async fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        embedded_hal::i2c::I2c::transaction(&mut self.0, address, operations)
    }
}

/// The clock for async drivers.
pub struct AsyncClock(pub Clock);

impl embedded_hal_async::delay::DelayNs for AsyncClock {
    async fn delay_ns(&mut self, ns: u32) {
        embedded_hal::delay::DelayNs::delay_ns(&mut self.0, ns);
    }
}

/// The result of a future that never waits.
pub fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => panic!("nothing here is ever pending"),
    }
}

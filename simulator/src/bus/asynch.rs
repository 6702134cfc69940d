//! The same controller for async programs, on the same virtual clock. No executor is needed: [`block_on`] polls.

use alloc::rc::Rc;
use core::cell::RefCell;
use core::future::Future;
use core::pin::{Pin, pin};
use core::task::{Context, Poll, Waker};

use embedded_hal::i2c::{ErrorType, Operation};
use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use crate::bus::quirks::{Cancelled, Quirks};
use crate::bus::transfer::{Check, Transfer, check};
use crate::bus::{BusError, BusFault, RigBus, RigDelay};
use crate::world::World;

/// Bytes moved between two await points.
const CHUNK: usize = 4;

/// A controller on the bus of a rig whose transactions can be awaited, and dropped.
#[derive(Debug, Clone)]
pub struct AsyncRigBus {
    world: Rc<RefCell<World>>,
    quirks: Quirks,
    errors: RigBus,
}

impl AsyncRigBus {
    pub(crate) fn new(world: Rc<RefCell<World>>, quirks: Quirks) -> Self {
        Self { errors: RigBus::new(world.clone(), quirks), world, quirks }
    }
}

impl ErrorType for AsyncRigBus {
    type Error = BusError;
}

impl I2c for AsyncRigBus {
    async fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let checked = check(&mut self.world.borrow_mut(), address, operations, self.quirks);
        match checked.map_err(|fault| self.errors.error(fault))? {
            Check::Nothing => return Ok(()),
            Check::Hangs => core::future::pending().await,
            Check::Go => {}
        }
        let mut transfer = Transfer::new(self.quirks, address, CHUNK);
        let mut guard = DropGuard { world: &self.world, cancelled: self.quirks.cancelled, armed: true };
        let done = loop {
            YieldOnce(false).await;
            let advanced = transfer.advance(&mut self.world.borrow_mut(), operations);
            match advanced {
                Ok(true) => {}
                Ok(false) => break Ok(()),
                Err(fault) => break Err(fault),
            }
        };
        guard.armed = false;
        let world = &mut *self.world.borrow_mut();
        transfer.finish(world, operations, done).map_err(|fault| self.errors.error(fault))
    }
}

impl DelayNs for RigDelay {
    async fn delay_ns(&mut self, ns: u32) {
        YieldOnce(false).await;
        embedded_hal::delay::DelayNs::delay_ns(self, ns);
    }
}

/// What happens when the future goes away before it is done.
struct DropGuard<'a> {
    world: &'a Rc<RefCell<World>>,
    cancelled: Cancelled,
    armed: bool,
}

impl Drop for DropGuard<'_> {
    fn drop(&mut self) {
        let world = &mut *self.world.borrow_mut();
        if !self.armed || !world.in_transfer {
            return;
        }
        match self.cancelled {
            Cancelled::Hung => world.controller_hangs = true,
            // A chip that drives a 0 does not let a STOP through; it is held until the bus is recovered.
            Cancelled::StopSent => {
                if world.empty_read() != Err(BusFault::SdaHeld) {
                    world.stop();
                }
            }
        }
    }
}

/// Gives the caller a chance to drop the future.
struct YieldOnce(bool);

impl Future for YieldOnce {
    type Output = ();

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<()> {
        if core::mem::replace(&mut self.0, true) {
            return Poll::Ready(());
        }
        context.waker().wake_by_ref();
        Poll::Pending
    }
}

/// Polls a future until it is done. Virtual time moves by what the future does, never by waiting.
///
/// # Panics
///
/// If the future is still pending after 100 million polls: it hangs.
pub fn block_on<F: Future>(future: F) -> F::Output {
    let mut future = pin!(future);
    let mut context = Context::from_waker(Waker::noop());
    for _ in 0..100_000_000_u64 {
        if let Poll::Ready(output) = future.as_mut().poll(&mut context) {
            return output;
        }
    }
    panic!("the future hangs");
}

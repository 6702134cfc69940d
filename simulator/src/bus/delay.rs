//! Delays on virtual time.

use alloc::rc::Rc;
use core::cell::RefCell;

use embedded_hal::delay::DelayNs;

use crate::world::World;

/// Delays on the clock of a rig. Clones share it.
#[derive(Debug, Clone)]
pub struct RigDelay {
    world: Rc<RefCell<World>>,
}

impl RigDelay {
    pub(crate) fn new(world: Rc<RefCell<World>>) -> Self {
        Self { world }
    }
}

impl DelayNs for RigDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.world.borrow_mut().pass(u64::from(ns));
    }

    fn delay_us(&mut self, us: u32) {
        self.world.borrow_mut().pass(u64::from(us) * 1_000);
    }

    fn delay_ms(&mut self, ms: u32) {
        self.world.borrow_mut().pass(u64::from(ms) * 1_000_000);
    }
}

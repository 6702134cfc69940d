//! The controller: an embedded-hal bus on the simulated wires, with the habits of real HALs selectable.

mod access;
#[cfg(feature = "async")]
pub mod asynch;
pub(crate) mod bit_bang;
mod delay;
mod error;
mod express;
pub mod layer;
pub(crate) mod pins;
pub mod preset;
pub mod quirks;
mod steps;
mod transfer;

pub use delay::RigDelay;
pub use error::{BusError, BusFault};
pub use quirks::Quirks;
pub use steps::StepBus;

use alloc::rc::Rc;
use core::cell::RefCell;

use embedded_hal::i2c::{ErrorType, I2c, Operation};

use crate::world::World;
use quirks::AdjacentWrites;
use transfer::{Check, Transfer};

/// How long a blocking call hangs in virtual time before it is given up.
const HANGS_NS: u64 = 1_000_000_000;

/// A controller on the bus of a rig. Clones drive the same bus.
#[derive(Debug, Clone)]
pub struct RigBus {
    world: Rc<RefCell<World>>,
    quirks: Quirks,
    /// Without any quirk but what it makes of adjacent writes.
    plain: bool,
}

impl RigBus {
    pub(crate) fn new(world: Rc<RefCell<World>>, quirks: Quirks) -> Self {
        let plain = Quirks { adjacent_writes: AdjacentWrites::Joined, ..quirks } == Quirks::default();
        Self { world, quirks, plain }
    }

    /// Whether nothing sets this transfer apart from that of a controller without quirks.
    fn is_plain(&self, operations: &[Operation<'_>]) -> bool {
        let single = || matches!(operations, [_] | [Operation::Write(_), Operation::Read(_)]);
        self.plain && (self.quirks.adjacent_writes == AdjacentWrites::Joined || single())
    }

    /// Frees the bus: nine clocks with SDA released if it is held, START (which resets every chip and drops its latch),
    /// STOP.
    pub fn recover(&mut self) {
        self.world.borrow_mut().recover();
    }

    /// A controller that is reset in the middle of a read: header, repeated START, `bytes` whole bytes, `bits` bits of
    /// the next one (0 to 7), then SCL stays high and nothing more comes.
    ///
    /// # Errors
    ///
    /// Fails like any transfer if the chip does not answer.
    pub fn interrupted_read(&mut self, address: u8, header: &[u8], bytes: usize, bits: u8) -> Result<(), BusError> {
        self.world.borrow_mut().interrupted_read(address, header, bytes, bits).map_err(|fault| self.error(fault))
    }

    fn error(&self, fault: BusFault) -> BusError {
        let kind = self.quirks.kind(fault);
        BusError { fault, kind }
    }
}

impl ErrorType for RigBus {
    type Error = BusError;
}

impl I2c for RigBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let world = &mut *self.world.borrow_mut();
        let plain = self.is_plain(operations);
        if plain && world.express_read(address, operations) {
            return Ok(());
        }
        if plain && (world.express_poll(address, operations) || world.express_unanswered(address, operations)) {
            return Err(self.error(BusFault::AddressNack));
        }
        run(world, self.quirks, address, operations).map_err(|fault| self.error(fault))
    }
}

/// A whole transaction at once.
fn run(world: &mut World, quirks: Quirks, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusFault> {
    match transfer::check(world, address, operations, quirks)? {
        Check::Nothing => Ok(()),
        Check::Hangs => {
            world.run_to(world.now + HANGS_NS);
            Err(BusFault::Hung)
        }
        Check::Go => {
            let mut transfer = Transfer::new(quirks, address, usize::MAX);
            let done = loop {
                match transfer.advance(world, operations) {
                    Ok(true) => {}
                    Ok(false) => break Ok(()),
                    Err(fault) => break Err(fault),
                }
            };
            transfer.finish(world, operations, done)
        }
    }
}

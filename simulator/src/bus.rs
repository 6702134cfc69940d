//! The controller: an embedded-hal bus on the simulated wires, with the habits of real HALs selectable.

mod access;
#[cfg(feature = "async")]
pub mod asynch;
pub(crate) mod bit_bang;
mod delay;
mod express;
pub mod layer;
pub(crate) mod pins;
pub mod preset;
pub mod quirks;
mod steps;
mod transfer;

pub use delay::RigDelay;
pub use quirks::Quirks;
pub use steps::StepBus;

use core::fmt;

use alloc::rc::Rc;
use core::cell::RefCell;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::world::World;
use quirks::OverLimit;
use transfer::{Check, Transfer};

/// How long a blocking call hangs in virtual time before it is given up.
const HANGS_NS: u64 = 1_000_000_000;

/// Why a bus call failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum BusFault {
    /// Nobody answered the device address.
    AddressNack,
    /// A byte was not acknowledged; `byte` counts from 0 after the device address.
    DataNack {
        /// Its number.
        byte: usize,
    },
    /// A device address above 0x7F: nothing was sent.
    AddressOutOfRange(u8),
    /// A transfer without bytes, which this HAL refuses: nothing was sent.
    ZeroLength,
    /// More bytes than this HAL can move: nothing was sent.
    TooLong {
        /// Bytes asked for.
        len: usize,
        /// The most it can move.
        limit: usize,
    },
    /// SDA is held low: no START or STOP is possible.
    SdaHeld,
    /// There is no supply: nothing pulls the lines up.
    NoSupply,
    /// This HAL cannot do this sequence of operations: nothing was sent.
    Unsupported,
    /// An empty list of operations, which this HAL refuses.
    EmptyList,
    /// Somebody else has the bus: nothing was sent.
    Taken,
    /// The controller hangs.
    Hung,
}

/// Error of [`RigBus`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BusError {
    /// What happened.
    pub fault: BusFault,
    pub(crate) kind: ErrorKind,
}

impl fmt::Display for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.fault {
            BusFault::AddressNack => f.write_str("device address not acknowledged"),
            BusFault::DataNack { byte } => write!(f, "byte {byte} not acknowledged"),
            BusFault::AddressOutOfRange(address) => write!(f, "0x{address:02X} is no 7-bit device address"),
            BusFault::ZeroLength => f.write_str("transfer without bytes refused"),
            BusFault::TooLong { len, limit } => write!(f, "transfer of {len} bytes, at most {limit}"),
            BusFault::SdaHeld => f.write_str("SDA is held low"),
            BusFault::NoSupply => f.write_str("no supply"),
            BusFault::Unsupported => f.write_str("sequence of operations not supported"),
            BusFault::EmptyList => f.write_str("empty list of operations"),
            BusFault::Taken => f.write_str("bus taken"),
            BusFault::Hung => f.write_str("controller hangs"),
        }
    }
}

impl core::error::Error for BusError {}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.kind
    }
}

/// A controller on the bus of a rig. Clones drive the same bus.
#[derive(Debug, Clone)]
pub struct RigBus {
    world: Rc<RefCell<World>>,
    quirks: Quirks,
    /// Without any quirk.
    plain: bool,
}

impl RigBus {
    pub(crate) fn new(world: Rc<RefCell<World>>, quirks: Quirks) -> Self {
        Self { world, quirks, plain: quirks == Quirks::default() }
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
        let kind = match fault {
            BusFault::AddressNack => self.quirks.nack.kind(NoAcknowledgeSource::Address),
            BusFault::DataNack { .. } => self.quirks.nack.kind(NoAcknowledgeSource::Data),
            BusFault::SdaHeld | BusFault::NoSupply | BusFault::EmptyList | BusFault::Hung => ErrorKind::Bus,
            BusFault::TooLong { .. } if self.quirks.over_limit == OverLimit::RefuseAsBus => ErrorKind::Bus,
            _ => ErrorKind::Other,
        };
        BusError { fault, kind }
    }
}

impl ErrorType for RigBus {
    type Error = BusError;
}

impl I2c for RigBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let world = &mut *self.world.borrow_mut();
        if self.plain && world.express_read(address, operations) {
            return Ok(());
        }
        if self.plain && (world.express_poll(address, operations) || world.express_unanswered(address, operations)) {
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

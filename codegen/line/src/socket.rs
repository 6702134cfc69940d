//! Where a part sits: its card, its straps, and what the bus demands.

use pagewise_driver::{Eeprom, Geometry, Options, Wait};

use super::bus::{LineBus, LineDelay};
use super::error::LineError;
use pagewise_part::card::Card;
use pagewise_part::card::geometry::PinLevels;

/// Header and the largest piece that is written at once.
pub const BUFFER: usize = 3 + 256;

/// Bytes that are read or written at once at most: the stop request and the progress bar are looked at in between.
pub const PIECE: u32 = 256;

/// The driver over the bus of the line.
pub type Driver<'b> = Eeprom<&'b mut LineBus, LineDelay, BUFFER>;

/// Error of that driver.
pub type DriverError = pagewise_driver::Error<LineError>;

/// A place for a part on a bus.
#[derive(Debug, Clone)]
pub struct Socket {
    /// The part that should sit there, in its package.
    pub card: Card,
    /// Levels of A0, A1, A2.
    pub pins: PinLevels,
    /// The same for the driver.
    pub geometry: Geometry,
    /// Most bytes that one transfer may move, header included.
    pub max_transfer_bytes: usize,
    /// An error that the bus calls nothing in particular counts as a missing ACK.
    pub other_is_nack: bool,
    /// Ask every device address who is there, by reading one byte.
    pub scan: bool,
}

impl Socket {
    /// A driver that only reads: while it waits it sends nothing at all, so that even a part that takes another number
    /// of word-address bytes is never left with a STOP behind what it would take for data.
    pub fn reader<'b>(&self, bus: &'b mut LineBus) -> Driver<'b> {
        self.driver(bus, Wait::Fixed)
    }

    /// A driver that writes, with acknowledge polling.
    pub fn writer<'b>(&self, bus: &'b mut LineBus) -> Driver<'b> {
        self.driver(bus, Wait::Poll)
    }

    fn driver<'b>(&self, bus: &'b mut LineBus, wait: Wait) -> Driver<'b> {
        let options = Options::new()
            .with_wait(wait)
            .with_max_transfer_bytes(self.max_transfer_bytes)
            .with_other_is_nack(self.other_is_nack);
        let delay = bus.delay();
        Eeprom::new(bus, delay, self.geometry, options)
    }

    /// Bytes that the driver reaches.
    #[must_use]
    pub const fn capacity(&self) -> u32 {
        self.geometry.capacity_bytes()
    }

    /// Device addresses over which the array is reached.
    #[must_use]
    pub fn addresses(&self) -> Vec<u8> {
        let (first, shift) = (self.geometry.device_address(), self.geometry.block_select_shift());
        (0..1u16 << self.geometry.block_select_bits()).map(|block| first | (block << shift) as u8).collect()
    }

    /// Longest write cycle with a quarter on top, in microseconds.
    #[must_use]
    pub const fn patience_us(&self) -> u32 {
        let cycle = self.geometry.write_cycle_us();
        cycle.saturating_add(cycle / 4)
    }

    /// Bytes that may be written at once: a page, or a piece of a part that has none.
    #[must_use]
    pub fn unit(&self) -> u32 {
        self.geometry.page_bytes().min(PIECE)
    }
}

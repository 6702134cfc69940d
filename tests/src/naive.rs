//! Programs with one flaw each. They prove that the property of [`crate::property`] can fail, and on what.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_driver::{Geometry, Options, Wait};
use pagewise_simulator::{RigBus, RigDelay};

use crate::operations::Scenario;
use crate::property::{Program, options};
use crate::seat::Seat;

/// What a program does wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flaw {
    /// Nothing: if this program failed too, the failures of the others would mean nothing.
    None,
    /// Writes run over page ends.
    IgnoresPages,
    /// The page is taken for twice as large.
    PageTooLarge,
    /// Block-select bits are never sent.
    DropsBlockBits,
    /// One word-address byte too few.
    ByteTooFew,
    /// One word-address byte too many.
    ByteTooMany,
    /// The write cycle is not waited for.
    NoPolling,
    /// Header and data are two adjacent writes of one transaction.
    TwoWrites,
    /// Sequential reads run over block ends.
    IgnoresReadBlocks,
    /// The HAL's longest transfer is not heeded.
    IgnoresLimit,
    /// The last byte of a request is forgotten.
    LosesLastByte,
}

impl Flaw {
    /// Every flaw.
    pub const ALL: [Self; 10] = [
        Self::IgnoresPages,
        Self::PageTooLarge,
        Self::DropsBlockBits,
        Self::ByteTooFew,
        Self::ByteTooMany,
        Self::NoPolling,
        Self::TwoWrites,
        Self::IgnoresReadBlocks,
        Self::IgnoresLimit,
        Self::LosesLastByte,
    ];

    /// Whether it can do harm on a part.
    #[must_use]
    pub fn matters(self, geometry: &Geometry) -> bool {
        let (capacity, bytes) = (geometry.capacity_bytes(), geometry.word_address_bytes());
        match self {
            Self::None => false,
            Self::IgnoresPages | Self::PageTooLarge => geometry.page_bytes() < capacity,
            Self::DropsBlockBits => geometry.block_select_bits() > 0,
            Self::ByteTooFew | Self::ByteTooMany | Self::TwoWrites => bytes > 0,
            Self::NoPolling => geometry.write_cycle_us() > 0,
            Self::IgnoresReadBlocks => geometry.sequential_read_bytes() < capacity,
            Self::IgnoresLimit | Self::LosesLastByte => true,
        }
    }
}

/// A program with a flaw.
pub struct Naive {
    flaw: Flaw,
    geometry: Geometry,
    options: Options,
    bus: RigBus,
    delay: RigDelay,
}

/// The program with `flaw`, as a scenario wants it.
#[must_use]
pub fn program(flaw: Flaw, seat: &Seat, scenario: &Scenario, bus: RigBus, delay: RigDelay) -> Box<dyn Program> {
    Box::new(Naive { flaw, geometry: seat.geometry, options: options(scenario), bus, delay })
}

impl Naive {
    fn header(&self, offset: u32) -> Vec<u8> {
        let bytes = usize::from(self.geometry.word_address_bytes());
        let sent = match self.flaw {
            Flaw::ByteTooFew => bytes.saturating_sub(1),
            Flaw::ByteTooMany => bytes + 1,
            _ => bytes,
        };
        let word = if bytes == 0 { 0 } else { u64::from(offset) % (1 << (8 * bytes)) };
        word.to_be_bytes()[8 - sent..].to_vec()
    }

    fn device_address(&self, offset: u32) -> u8 {
        if self.flaw == Flaw::DropsBlockBits {
            return self.geometry.device_address();
        }
        let block = offset >> (8 * u32::from(self.geometry.word_address_bytes()));
        self.geometry.device_address() | (block << self.geometry.block_select_shift()) as u8
    }

    /// Bytes that one transfer may take of `left`, up to the end of an aligned block of `unit` bytes.
    fn piece(&self, offset: u32, left: usize, unit: u32) -> usize {
        let header = usize::from(self.geometry.word_address_bytes());
        let limit = if self.flaw == Flaw::IgnoresLimit { usize::MAX } else { self.options.max_transfer_bytes };
        left.min(limit - header).min((unit - offset % unit) as usize)
    }

    fn inside(&self, offset: u32, length: usize) -> Result<(), String> {
        let end = u64::from(offset) + length as u64;
        if end <= u64::from(self.geometry.capacity_bytes()) { Ok(()) } else { Err("out of range".into()) }
    }

    fn kept(&self, length: usize) -> usize {
        if self.flaw == Flaw::LosesLastByte { length.saturating_sub(1) } else { length }
    }

    fn ready(&mut self, offset: u32) -> Result<(), String> {
        if self.flaw == Flaw::NoPolling {
            return Ok(());
        }
        if self.options.wait == Wait::Fixed {
            self.delay.delay_us(self.geometry.write_cycle_us());
            return Ok(());
        }
        let (device, header) = (self.device_address(offset), self.header(offset));
        let most = self.geometry.write_cycle_us() / 10 + 10;
        for _ in 0..most {
            let answer = match header.as_slice() {
                [] => self.bus.read(device, &mut [0]),
                header => self.bus.write(device, header),
            };
            if answer.is_ok() {
                return Ok(());
            }
            self.delay.delay_us(10);
        }
        Err("not ready".into())
    }
}

impl Program for Naive {
    fn read(&mut self, offset: u32, into: &mut [u8]) -> Result<(), String> {
        self.inside(offset, into.len())?;
        let (mut at, length) = (offset, self.kept(into.len()));
        let mut rest = &mut into[..length];
        while !rest.is_empty() {
            let whole = self.flaw == Flaw::IgnoresReadBlocks;
            let unit = if whole { u32::MAX } else { self.geometry.sequential_read_bytes() };
            let (now, later) = rest.split_at_mut(self.piece(at, rest.len(), unit));
            let device = self.device_address(at);
            match self.header(at).as_slice() {
                [] => self.bus.read(device, now),
                header => self.bus.write_read(device, header, now),
            }
            .map_err(|error| error.to_string())?;
            at += now.len() as u32;
            rest = later;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), String> {
        self.inside(offset, bytes.len())?;
        let (mut at, mut rest) = (offset, &bytes[..self.kept(bytes.len())]);
        while !rest.is_empty() {
            let page = self.geometry.page_bytes();
            let unit = match self.flaw {
                Flaw::IgnoresPages => u32::MAX,
                Flaw::PageTooLarge => page * 2,
                _ => page,
            };
            let (now, later) = rest.split_at(self.piece(at, rest.len(), unit));
            let (device, header) = (self.device_address(at), self.header(at));
            match self.flaw {
                Flaw::TwoWrites => {
                    self.bus.transaction(device, &mut [Operation::Write(&header), Operation::Write(now)])
                }
                _ => self.bus.write(device, &[header.as_slice(), now].concat()),
            }
            .map_err(|error| error.to_string())?;
            self.ready(at)?;
            at += now.len() as u32;
            rest = later;
        }
        Ok(())
    }

    fn current_read(&mut self, _into: &mut [u8]) -> Result<bool, String> {
        Ok(false)
    }

    fn wait_ready(&mut self) -> Result<(), String> {
        if self.flaw == Flaw::NoPolling { Ok(()) } else { self.ready(0) }
    }
}

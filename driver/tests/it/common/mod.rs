//! A small chip that behaves, for the driver's own tests. (The real simulator is met in the tests room.)
#[cfg(feature = "async")]
pub mod at_once;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use pagewise_driver::{Geometry, Parameters};

/// The two halves of what a driver needs, on one clock.
pub fn rig(parameters: Parameters) -> (Rc<RefCell<FakeChip>>, Bus, Clock) {
    let chip = Rc::new(RefCell::new(FakeChip::new(parameters)));
    (chip.clone(), Bus(vec![chip.clone()]), Clock(vec![chip]))
}

/// Parameters of a plain part with 5 ms write cycle.
pub const fn part(capacity: u32, page: u32, bytes: u8, block_bits: u8) -> Parameters {
    Parameters::new()
        .with_capacity_bytes(capacity)
        .with_page_bytes(page)
        .with_word_address_bytes(bytes)
        .with_device_address(if bytes == 0 { 0 } else { 0x50 })
        .with_block_select_bits(block_bits)
        .with_sequential_read_bytes(capacity)
        .with_write_cycle_us(5_000)
}

/// 128 bytes, page 8, one word-address byte.
pub const KBIT_1: Geometry = Geometry::new(part(128, 8, 1, 0));
/// 2048 bytes, page 16, one word-address byte, three block-select bits.
pub const KBIT_16: Geometry = Geometry::new(part(2048, 16, 1, 3));
/// 4096 bytes, page 32, two word-address bytes.
pub const KBIT_32: Geometry = Geometry::new(part(4096, 32, 2, 0));
/// 128 KiB, page 128, two word-address bytes, the block-select bit in the top place, reads stay inside 64 KiB.
pub const KBIT_1024_TOP: Geometry =
    Geometry::new(part(131_072, 128, 2, 1).with_block_select_shift(2).with_sequential_read_bytes(65_536));
/// 256 KiB, page 256, three word-address bytes.
pub const KBIT_2048: Geometry = Geometry::new(part(262_144, 256, 3, 0));
/// The part whose device address is the word address: 128 bytes, page 4.
pub const ZERO_BYTE: Geometry = Geometry::new(part(128, 4, 0, 7));
/// A part without pages and write cycle.
pub const FRAM: Geometry = Geometry::new(part(8192, 8192, 2, 0).with_write_cycle_us(0));

/// One bus call as the chip saw it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Call {
    Write(u8, Vec<u8>, bool),
    Read(u8, Vec<u8>, usize, bool),
}

/// What a protected part does with data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protect {
    Off,
    NackData,
    AckAndDrop,
}

/// What a page holds when supply was lost in its write cycle.
#[cfg_attr(not(feature = "records"), allow(dead_code, reason = "most of these are for the records"))]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Torn {
    Old,
    New,
    /// The first bytes are new.
    Prefix(usize),
    /// Any bytes are new.
    Subset,
    /// The bytes written read 0xFF.
    Erased,
    /// The whole page reads 0xFF.
    ErasedPage,
    /// Each bit is old, new or 1.
    HalfProgrammed,
    /// Each bit reads old or new, differently each time.
    Unstable,
}

/// Memory, page latch, write cycle, protection; and what it was asked.
#[derive(Debug)]
pub struct FakeChip {
    pub p: Parameters,
    pub memory: Vec<u8>,
    pub now_us: u64,
    pub busy_until_us: u64,
    /// How long its write cycle really takes.
    pub cycle_us: u64,
    pub pointer: usize,
    pub protect: Protect,
    pub present: bool,
    pub nack: ErrorKind,
    /// Fails the call with this number (counted from 0) in this way, before it has any effect.
    pub fail_call: Option<(usize, ErrorKind)>,
    /// Supply is lost in the page write with this number (counted from 0), which leaves its page so.
    pub cut: Option<(usize, Torn)>,
    /// Bytes that read differently each time: old and new value.
    pub unstable: BTreeMap<usize, (u8, u8)>,
    pub seed: u64,
    /// Offsets from the first on, below the second, are really this much lower: a fault for canaries.
    pub alias: Option<(usize, usize, usize)>,
    /// Unstable bytes read well for the time being.
    pub steady_unstable: bool,
    pub calls: Vec<Call>,
    pub page_writes: usize,
    /// Longest call seen, header included.
    pub longest: usize,
}

impl FakeChip {
    pub fn new(p: Parameters) -> Self {
        Self {
            p,
            memory: (0..p.capacity_bytes).map(|i| (i % 251) as u8 ^ 0xA5).collect(),
            now_us: 0,
            busy_until_us: 0,
            cycle_us: u64::from(p.write_cycle_us),
            pointer: 0,
            protect: Protect::Off,
            present: true,
            nack: ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            fail_call: None,
            cut: None,
            unstable: BTreeMap::new(),
            seed: 1,
            alias: None,
            steady_unstable: false,
            calls: Vec::new(),
            page_writes: 0,
            longest: 0,
        }
    }

    pub fn answers(&self, address: u8) -> bool {
        let mask = ((1u32 << self.p.block_select_bits) - 1) << self.p.block_select_shift;
        u32::from(address) & !mask == u32::from(self.p.device_address)
    }

    fn accept(&mut self) -> Result<(), ErrorKind> {
        let number = self.calls.len();
        self.now_us += 20;
        if let Some((call, kind)) = self.fail_call
            && call == number
        {
            return Err(kind);
        }
        if self.present && self.now_us >= self.busy_until_us { Ok(()) } else { Err(self.nack) }
    }

    fn point(&mut self, address: u8, header: &[u8]) {
        let block = (usize::from(address) >> self.p.block_select_shift) & ((1 << self.p.block_select_bits) - 1);
        let word = header.iter().fold(0usize, |sum, byte| sum * 256 + usize::from(*byte));
        let block_bytes = 1usize << (8 * self.p.word_address_bytes);
        self.pointer = (block * block_bytes + word) % self.memory.len();
        if let Some((from, to, lower)) = self.alias
            && (from..to).contains(&self.pointer)
        {
            self.pointer -= lower;
        }
    }

    pub fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        assert!(!bytes.is_empty(), "a write without bytes");
        self.longest = self.longest.max(bytes.len());
        let result = self.accept();
        let result = result.and_then(|()| self.take(address, bytes));
        self.calls.push(Call::Write(address, bytes.to_vec(), result.is_ok()));
        result
    }

    fn take(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        let (header, data) = bytes.split_at(usize::from(self.p.word_address_bytes).min(bytes.len()));
        self.point(address, header);
        if data.is_empty() {
            return Ok(());
        }
        match self.protect {
            Protect::NackData => return Err(self.nack),
            Protect::AckAndDrop => return Ok(()),
            Protect::Off => {}
        }
        let page = self.p.page_bytes as usize;
        let start = self.pointer / page * page;
        let latch: Vec<(usize, u8)> = data
            .iter()
            .enumerate()
            .map(|(index, byte)| (start + (self.pointer - start + index) % page, *byte))
            .collect();
        match self.cut {
            Some((number, torn)) if number == self.page_writes => {
                self.present = false;
                self.tear(torn, start, &latch);
            }
            _ => {
                for (at, byte) in latch {
                    self.memory[at] = byte;
                    self.unstable.remove(&at);
                }
            }
        }
        self.page_writes += 1;
        self.busy_until_us = self.now_us + self.cycle_us;
        Ok(())
    }

    fn random(&mut self) -> u8 {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.seed >> 33) as u8
    }

    /// What the loss of supply leaves of a page.
    fn tear(&mut self, torn: Torn, start: usize, latch: &[(usize, u8)]) {
        if torn == Torn::ErasedPage {
            let page = self.p.page_bytes as usize;
            self.memory[start..start + page].fill(0xFF);
        }
        for (index, &(at, new)) in latch.iter().enumerate() {
            let old = self.memory[at];
            let (one, two) = (self.random(), self.random());
            self.unstable.remove(&at);
            self.memory[at] = match torn {
                Torn::Old | Torn::ErasedPage => old,
                Torn::New => new,
                Torn::Prefix(bytes) if index < bytes => new,
                Torn::Prefix(_) => old,
                Torn::Subset if one & 1 == 0 => old,
                Torn::Subset => new,
                Torn::Erased => 0xFF,
                Torn::HalfProgrammed => (old & one) | (new & !one) | two,
                Torn::Unstable => {
                    self.unstable.insert(at, (old, new));
                    new
                }
            };
        }
    }

    /// Supply is back: idle, memory as it was left.
    pub fn power_up(&mut self) {
        self.present = true;
        self.cut = None;
        self.busy_until_us = 0;
    }

    pub fn read(&mut self, address: u8, header: &[u8], buffer: &mut [u8]) -> Result<(), ErrorKind> {
        assert!(!buffer.is_empty(), "a read without bytes");
        self.longest = self.longest.max(header.len() + buffer.len());
        let result = self.accept();
        self.calls.push(Call::Read(address, header.to_vec(), buffer.len(), result.is_ok()));
        result?;
        if !header.is_empty() || self.p.word_address_bytes == 0 {
            self.point(address, header);
        }
        let block = self.p.sequential_read_bytes as usize;
        let start = self.pointer / block * block;
        for byte in buffer {
            *byte = self.memory[self.pointer];
            if let Some(&(old, new)) = self.unstable.get(&self.pointer) {
                let mix = if self.steady_unstable { 0 } else { self.random() };
                *byte = (old & mix) | (new & !mix);
            }
            self.pointer = start + (self.pointer - start + 1) % block;
        }
        Ok(())
    }
}

/// Bus with one or more chips.
#[derive(Debug, Clone)]
pub struct Bus(pub Vec<Rc<RefCell<FakeChip>>>);

impl Bus {
    fn chip(&self, address: u8) -> Result<Rc<RefCell<FakeChip>>, ErrorKind> {
        let nack = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        self.0.iter().find(|chip| chip.borrow().answers(address)).cloned().ok_or(nack)
    }
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let chip = self.chip(address)?;
        let mut chip = chip.borrow_mut();
        match operations {
            [Operation::Write(bytes)] => chip.write(address, bytes),
            [Operation::Read(buffer)] => chip.read(address, &[], buffer),
            [Operation::Write(header), Operation::Read(buffer)] => chip.read(address, header, buffer),
            other => panic!("an unexpected shape of transaction: {} operations", other.len()),
        }
    }
}

/// A WP pin that nobody looks at.
pub struct Pin;

impl embedded_hal::digital::ErrorType for Pin {
    type Error = std::convert::Infallible;
}

impl embedded_hal::digital::OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

/// The clock of all chips.
#[derive(Debug, Clone)]
pub struct Clock(pub Vec<Rc<RefCell<FakeChip>>>);

impl DelayNs for Clock {
    fn delay_ns(&mut self, ns: u32) {
        for chip in &self.0 {
            chip.borrow_mut().now_us += u64::from(ns.div_ceil(1000));
        }
    }

    fn delay_us(&mut self, us: u32) {
        for chip in &self.0 {
            chip.borrow_mut().now_us += u64::from(us);
        }
    }
}

//! The controller: an embedded-hal bus on the simulated wires, with the habits of real HALs selectable.

mod steps;

pub use steps::StepBus;

use core::fmt;

use alloc::rc::Rc;
use alloc::vec::Vec;
use core::cell::RefCell;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use crate::detector::{Access, Finding};
use crate::event::{ChipId, Note};
use crate::fault::FaultKind;
use crate::hazard::Hazard;
use crate::ledger::Attempt;
use crate::world::World;

/// What a HAL calls a missing acknowledge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum NackKind {
    /// `NoAcknowledge(Address)` or `NoAcknowledge(Data)`, as it was.
    #[default]
    Exact,
    /// Always `NoAcknowledge(Address)`.
    Address,
    /// Always `NoAcknowledge(Data)`.
    Data,
    /// Always `NoAcknowledge(Unknown)`.
    Unknown,
    /// `Other`.
    Other,
    /// `Bus`.
    Bus,
    /// `NoAcknowledge(Address)` for the device address, `Other` for a data byte.
    DataAsOther,
}

/// What a HAL makes of two adjacent writes in one transaction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AdjacentWrites {
    /// One run of bytes, as the contract of embedded-hal says.
    #[default]
    Joined,
    /// A repeated START and the device address between them.
    Restart,
    /// STOP, START and the device address between them.
    StopBetween,
}

/// What a HAL makes of a transfer without bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ZeroLength {
    /// The device address is sent, and its acknowledge counts.
    #[default]
    Sent,
    /// An error of kind `Other`, nothing on the bus.
    Refused,
    /// Success, nothing on the bus.
    Ignored,
}

/// What a HAL does with more bytes than it can move at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum OverLimit {
    /// An error of kind `Other`, nothing on the bus.
    #[default]
    Refuse,
    /// A repeated START and the device address after each full piece.
    SplitRestart,
    /// STOP, START and the device address after each full piece.
    SplitStop,
}

/// Habits of a HAL; the default is the contract of embedded-hal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Quirks {
    /// Error kind of a missing acknowledge.
    pub nack: NackKind,
    /// Two writes in a row.
    pub adjacent_writes: AdjacentWrites,
    /// Transfers without bytes.
    pub zero_length: ZeroLength,
    /// Bytes after the device address that one direction can move at once; `None` for any number.
    pub max_transfer: Option<usize>,
    /// What happens beyond `max_transfer`.
    pub over_limit: OverLimit,
}

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
}

/// Error of [`RigBus`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BusError {
    /// What happened.
    pub fault: BusFault,
    kind: ErrorKind,
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
}

impl RigBus {
    pub(crate) fn new(world: Rc<RefCell<World>>, quirks: Quirks) -> Self {
        Self { world, quirks }
    }

    /// Nine clocks with SDA released, then STOP: frees a chip that holds SDA.
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
        let exact = match fault {
            BusFault::AddressNack => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            BusFault::DataNack { .. } => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            BusFault::SdaHeld | BusFault::NoSupply => return BusError { fault, kind: ErrorKind::Bus },
            _ => return BusError { fault, kind: ErrorKind::Other },
        };
        let kind = match self.quirks.nack {
            NackKind::Exact => exact,
            NackKind::Address => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            NackKind::Data => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            NackKind::Unknown => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            NackKind::Other => ErrorKind::Other,
            NackKind::Bus => ErrorKind::Bus,
            NackKind::DataAsOther if matches!(fault, BusFault::DataNack { .. }) => ErrorKind::Other,
            NackKind::DataAsOther => exact,
        };
        BusError { fault, kind }
    }
}

impl ErrorType for RigBus {
    type Error = BusError;
}

impl I2c for RigBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let quirks = self.quirks;
        let world = &mut *self.world.borrow_mut();
        let done = check(address, operations, quirks)
            .and_then(|go| if go { Transfer { world, quirks, address }.run(operations) } else { Ok(()) });
        done.map_err(|fault| self.error(fault))
    }
}

/// What a HAL decides before anything is sent; `Ok(false)` means that there is nothing to do.
fn check(address: u8, operations: &[Operation<'_>], quirks: Quirks) -> Result<bool, BusFault> {
    if address > 0x7F {
        return Err(BusFault::AddressOutOfRange(address));
    }
    let empty = operations.iter().filter(|op| op_len(op) == 0).count();
    if empty > 0 && quirks.zero_length == ZeroLength::Refused {
        return Err(BusFault::ZeroLength);
    }
    if let Some(limit) = quirks.max_transfer
        && quirks.over_limit == OverLimit::Refuse
    {
        for run in operations.chunk_by(|a, b| is_read(a) == is_read(b)) {
            let len = run.iter().map(op_len).sum();
            if len > limit {
                return Err(BusFault::TooLong { len, limit });
            }
        }
    }
    let nothing = operations.is_empty() || (quirks.zero_length == ZeroLength::Ignored && empty == operations.len());
    Ok(!nothing)
}

/// Bytes written, bytes read, and a number that is equal for equal accesses.
fn digest(address: u8, operations: &[Operation<'_>]) -> (usize, usize, u64) {
    let (mut write_bytes, mut read_bytes) = (0, 0);
    let mut digest = 0xCBF2_9CE4_8422_2325_u64;
    let mut mix = |byte: u8| digest = (digest ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
    mix(address);
    for op in operations {
        match op {
            Operation::Write(bytes) => {
                write_bytes += bytes.len();
                bytes.iter().for_each(|byte| mix(*byte));
            }
            Operation::Read(buffer) => {
                read_bytes += buffer.len();
                buffer.len().to_le_bytes().into_iter().for_each(&mut mix);
            }
        }
    }
    (write_bytes, read_bytes, digest)
}

/// Whether a read before these operations is the last of its direction, so that its last byte is not acknowledged.
fn ends_read(rest: &[Operation<'_>], skips_empty: bool) -> bool {
    let next = rest.iter().find(|op| op_len(op) > 0 || (!skips_empty && !is_read(op)));
    next.is_none_or(|op| !is_read(op))
}

fn op_len(op: &Operation<'_>) -> usize {
    match op {
        Operation::Read(buffer) => buffer.len(),
        Operation::Write(bytes) => bytes.len(),
    }
}

fn is_read(op: &Operation<'_>) -> bool {
    matches!(op, Operation::Read(_))
}

/// One transaction under way.
struct Transfer<'a> {
    world: &'a mut World,
    quirks: Quirks,
    address: u8,
}

impl Transfer<'_> {
    fn run(&mut self, operations: &mut [Operation<'_>]) -> Result<(), BusFault> {
        self.world.begin_access();
        let done = self.operations(operations);
        if !matches!(done, Err(BusFault::SdaHeld | BusFault::NoSupply)) && self.world.in_transfer {
            self.world.stop();
        }
        self.book(operations, done);
        // The controller hangs on the same supply: a read that was cut off returns no bytes that mean anything.
        if self.world.supply_mv == 0 { Err(BusFault::NoSupply) } else { done }
    }

    fn operations(&mut self, operations: &mut [Operation<'_>]) -> Result<(), BusFault> {
        let skip = self.quirks.zero_length == ZeroLength::Ignored;
        let mut before: Option<bool> = None;
        let mut moved = 0;
        let count = operations.len();
        for i in 0..count {
            if skip && op_len(&operations[i]) == 0 {
                continue;
            }
            let reads = is_read(&operations[i]);
            let last = ends_read(&operations[i + 1..], skip);
            if before == Some(reads) {
                self.join(reads)?;
            } else {
                self.begin(reads)?;
                moved = 0;
            }
            before = Some(reads);
            match &mut operations[i] {
                Operation::Write(bytes) => self.write(bytes, &mut moved)?,
                Operation::Read(buffer) => self.read(buffer, last, &mut moved)?,
            }
        }
        if moved == 0 && before == Some(true) {
            return self.world.empty_read();
        }
        Ok(())
    }

    fn begin(&mut self, reads: bool) -> Result<(), BusFault> {
        self.world.line_free()?;
        self.world.start();
        let acked = self.world.address(self.address << 1 | u8::from(reads));
        if acked { Ok(()) } else { Err(BusFault::AddressNack) }
    }

    /// Two operations of one direction in a row.
    fn join(&mut self, reads: bool) -> Result<(), BusFault> {
        match self.quirks.adjacent_writes {
            AdjacentWrites::Restart if !reads => self.begin(reads),
            AdjacentWrites::StopBetween if !reads => self.broken(reads, "a STOP between two adjacent writes"),
            _ => Ok(()),
        }
    }

    /// The bus layer ends one write and begins another on its own account.
    fn broken(&mut self, reads: bool, what: &str) -> Result<(), BusFault> {
        self.world.stop();
        if !reads {
            self.world.report_broken(self.address, what);
        }
        self.begin(reads)
    }

    /// A piece is full: what this HAL does before the next byte.
    fn split(&mut self, reads: bool) -> Result<(), BusFault> {
        match self.quirks.over_limit {
            OverLimit::SplitStop => self.broken(reads, "a STOP inside one long write"),
            _ => self.begin(reads),
        }
    }

    fn write(&mut self, mut bytes: &[u8], moved: &mut usize) -> Result<(), BusFault> {
        while !bytes.is_empty() {
            let piece = self.piece(bytes.len(), *moved);
            if piece == 0 {
                self.split(false)?;
                *moved = 0;
                continue;
            }
            let acked = self.world.send_all(&bytes[..piece]);
            if acked < piece {
                return Err(BusFault::DataNack { byte: *moved + acked });
            }
            *moved += piece;
            bytes = &bytes[piece..];
        }
        Ok(())
    }

    fn read(&mut self, mut buffer: &mut [u8], last: bool, moved: &mut usize) -> Result<(), BusFault> {
        while !buffer.is_empty() {
            let piece = self.piece(buffer.len(), *moved);
            if piece == 0 {
                self.split(true)?;
                *moved = 0;
                continue;
            }
            let (now, later) = buffer.split_at_mut(piece);
            *moved += piece;
            let full = self.quirks.max_transfer.is_some_and(|limit| *moved >= limit);
            self.world.receive_all(now, full || (last && later.is_empty()));
            buffer = later;
        }
        Ok(())
    }

    fn piece(&self, len: usize, moved: usize) -> usize {
        match self.quirks.max_transfer {
            Some(limit) => len.min(limit.max(1).saturating_sub(moved)),
            None => len,
        }
    }

    /// Tells detectors and ledger what the controller was asked to do.
    fn book(&mut self, operations: &[Operation<'_>], done: Result<(), BusFault>) {
        if self.world.refused_in_access.is_empty() && !self.world.detectors.awaits_access() {
            return;
        }
        let refused = core::mem::take(&mut self.world.refused_in_access);
        self.world.book_access(self.address, operations, &refused, done.is_ok());
        self.world.refused_in_access = refused;
    }
}

impl World {
    /// Whether a START is possible. With a line held low by a fault the controller gives up after a byte time.
    fn line_free(&mut self) -> Result<(), BusFault> {
        if self.supply_mv == 0 {
            return Err(BusFault::NoSupply);
        }
        if self.held_by.is_some() {
            return Err(BusFault::SdaHeld);
        }
        if self.line_held_until().is_some() {
            self.hit(FaultKind::LineHeld);
            self.run_to(self.now + self.plan.byte_ns());
            return Err(BusFault::SdaHeld);
        }
        Ok(())
    }

    fn begin_access(&mut self) {
        self.refused_in_access.clear();
    }

    fn book_access(&mut self, address: u8, operations: &[Operation<'_>], refused: &[(usize, u64)], done: bool) {
        let (write_bytes, read_bytes, digest) = digest(address, operations);
        for index in 0..self.chips.len() {
            let left = refused.iter().find(|(chip, _)| *chip == index).map(|(_, left)| *left);
            let answered = self.segment.responders.contains(&index);
            if left.is_none() && !(answered && done) {
                continue;
            }
            let chip = &self.chips[index];
            let header = usize::from(chip.model.word_address_bytes);
            let carries_data = read_bytes > 0 || write_bytes > header;
            let access = Access { digest, write_bytes, read_bytes, carries_data };
            self.detectors.accessed(index, &chip.model.name, &access, left, self.segment.at_ns);
            if left.is_some() && read_bytes == 0 && carries_data {
                let mut raw = Vec::with_capacity(write_bytes);
                for op in operations {
                    if let Operation::Write(bytes) = op {
                        raw.extend_from_slice(bytes);
                    }
                }
                let (control, lost_to) = (address << 1, Some(Hazard::BusyAccess));
                self.ledger.push(Attempt { chip: index, control, raw, lost_to });
            }
        }
    }

    /// The bus layer put a STOP where the program wanted one write.
    fn report_broken(&mut self, address: u8, what: &str) {
        let at_ns = self.now;
        for index in 0..self.chips.len() {
            if self.chips[index].meant_by(address << 1).is_some() {
                let text = alloc::format!("{}: the bus layer put {what}", self.chips[index].model.name);
                let chip = Some(ChipId(index));
                self.detectors.report(Finding { chip, at_ns, hazard: Hazard::RestartAbort, text });
            }
        }
    }

    /// A read without bytes: the chip already drives the first bit, so STOP is possible only if that bit is 1.
    fn empty_read(&mut self) -> Result<(), BusFault> {
        let at = self.now;
        for i in 0..self.responders.len() {
            let index = self.responders[i];
            let Some(byte) = self.chips[index].drive(at) else { continue };
            if byte & 0x80 == 0 {
                self.chips[index].say(at, Note::HoldsSda);
                self.held_by = Some(index);
            } else {
                self.chips[index].cut_byte(at, 1, true);
            }
        }
        self.hear_notes();
        if self.held_by.is_some() { Err(BusFault::SdaHeld) } else { Ok(()) }
    }

    fn interrupted_read(&mut self, address: u8, header: &[u8], bytes: usize, bits: u8) -> Result<(), BusFault> {
        self.line_free()?;
        if !header.is_empty() {
            self.start();
            if !self.address(address << 1) {
                self.stop();
                return Err(BusFault::AddressNack);
            }
            self.send_all(header);
        }
        self.start();
        if !self.address(address << 1 | 1) {
            self.stop();
            return Err(BusFault::AddressNack);
        }
        for _ in 0..bytes {
            self.receive(true);
        }
        let bits = bits & 7;
        self.run_to(self.now + self.plan.period_ns * u64::from(bits));
        for i in 0..self.responders.len() {
            let index = self.responders[i];
            let Some(byte) = self.chips[index].drive(self.now) else { continue };
            if byte << bits & 0x80 == 0 {
                self.chips[index].say(self.now, Note::HoldsSda);
                self.held_by = Some(index);
            } else {
                self.chips[index].cut_byte(self.now, bits, true);
            }
        }
        self.hear_notes();
        Ok(())
    }

    fn recover(&mut self) {
        self.run_to(self.now + self.plan.byte_ns());
        if let Some(index) = self.held_by.take() {
            self.chips[index].sent(false);
            self.hear_notes();
        }
        self.stop();
    }
}

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
        let world = &mut *self.world.borrow_mut();
        world.run_to(world.now + u64::from(ns));
    }

    fn delay_us(&mut self, us: u32) {
        let world = &mut *self.world.borrow_mut();
        world.run_to(world.now + u64::from(us) * 1_000);
    }

    fn delay_ms(&mut self, ms: u32) {
        let world = &mut *self.world.borrow_mut();
        world.run_to(world.now + u64::from(ms) * 1_000_000);
    }
}

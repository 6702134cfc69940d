//! The bus as a measurement uses it: few verbs, each of which does what it says and no more.

use std::sync::atomic::{AtomicBool, Ordering};

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{Error, ErrorKind, I2c, Operation};

use crate::place::{Place, Window};

/// Bytes that are read behind one header at most. A shorter block in which a read stays has not been met.
pub(crate) const PIECE: u32 = 128;

/// Between two polls, in microseconds.
const BETWEEN_POLLS_US: u32 = 10;

/// Delays, and the time on the same clock.
pub trait Clock: DelayNs {
    /// Nanoseconds since any fixed moment.
    fn now_ns(&mut self) -> u64;
}

/// A bus and its clock.
pub trait Wires {
    /// One transaction. `false`: not acknowledged.
    ///
    /// # Errors
    /// What the bus says when it cannot work.
    fn transfer(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<bool, String>;
    /// Lets time pass.
    fn pause_us(&mut self, us: u32);
    /// Nanoseconds since any fixed moment.
    fn now_ns(&mut self) -> u64;
}

/// Any bus of embedded-hal with a clock.
#[derive(Debug)]
pub struct OverHal<B, C> {
    /// The bus.
    pub bus: B,
    /// Its clock.
    pub clock: C,
    /// An error that the bus calls nothing in particular counts as a missing acknowledge.
    pub other_is_nack: bool,
}

impl<B: I2c, C: Clock> Wires for OverHal<B, C> {
    fn transfer(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<bool, String> {
        match self.bus.transaction(address, operations) {
            Ok(()) => Ok(true),
            Err(error) => match error.kind() {
                ErrorKind::NoAcknowledge(_) => Ok(false),
                ErrorKind::Other if self.other_is_nack => Ok(false),
                _ => Err(format!("{error:?}")),
            },
        }
    }

    fn pause_us(&mut self, us: u32) {
        self.clock.delay_us(us);
    }

    fn now_ns(&mut self) -> u64 {
        self.clock.now_ns()
    }
}

/// Why a measurement ended before its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// The bus cannot work.
    Bus(String),
    /// The part does something that no measurement can go on with.
    Part(String),
    /// A file of the copy cannot be written or read.
    Copy(String),
    /// Somebody asked to stop.
    Stopped,
}

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Bus(text) => write!(f, "the bus: {text}"),
            Self::Part(text) | Self::Copy(text) => f.write_str(text),
            Self::Stopped => f.write_str("stopped on request"),
        }
    }
}

impl std::error::Error for Trouble {}

/// What the bus can do, and how long a part is waited for.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Most bytes of one transfer, header included.
    pub transfer_bytes: usize,
    /// A part that refuses its address for longer is broken, in milliseconds. As long is waited behind a write while
    /// nobody knows how a part is polled.
    pub patience_ms: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self { transfer_bytes: 8192, patience_ms: 500 }
    }
}

/// Asks a part.
pub struct Probe<'b> {
    wires: &'b mut dyn Wires,
    stop: &'b AtomicBool,
    /// What has to be done now is done whoever wants to stop.
    pub(crate) finishing: bool,
    pub(crate) limits: Limits,
    /// Transactions with data behind the header, so far.
    pub(crate) writes: u64,
    said: &'b dyn Fn(&str),
}

/// Between the end of a write and the part's answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Busy {
    /// The last refusal, after so many nanoseconds; 0 where there was none.
    pub(crate) at_least_ns: u64,
    /// The first answer.
    pub(crate) at_most_ns: u64,
}

impl<'b> Probe<'b> {
    /// A probe. `stop` is set by whoever wants it to stop; `said` hears what is done now.
    pub fn new(wires: &'b mut dyn Wires, limits: Limits, stop: &'b AtomicBool, said: &'b dyn Fn(&str)) -> Self {
        Self { wires, stop, finishing: false, limits, writes: 0, said }
    }

    /// Tells the user what is done now.
    pub(crate) fn say(&self, text: &str) {
        (self.said)(text);
    }

    fn transfer(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<bool, Trouble> {
        self.wires.transfer(address, operations).map_err(Trouble::Bus)
    }

    pub(crate) fn pause_ms(&mut self, ms: u32) {
        self.wires.pause_us(ms.saturating_mul(1000));
    }

    pub(crate) fn now_ns(&mut self) -> u64 {
        self.wires.now_ns()
    }

    /// Whether somebody wants to stop.
    pub(crate) fn heed(&self) -> Result<(), Trouble> {
        if !self.finishing && self.stop.load(Ordering::Relaxed) { Err(Trouble::Stopped) } else { Ok(()) }
    }

    /// Reads from where the pointer stands; no header is sent. `false`: not acknowledged.
    pub(crate) fn current(&mut self, device: u8, into: &mut [u8]) -> Result<bool, Trouble> {
        for piece in into.chunks_mut(self.limits.transfer_bytes) {
            if !self.transfer(device, &mut [Operation::Read(piece)])? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The same; a part that refuses is trouble.
    pub(crate) fn read_on(&mut self, device: u8, bytes: usize) -> Result<Vec<u8>, Trouble> {
        let mut found = vec![0; bytes];
        if self.current(device, &mut found)? { Ok(found) } else { Err(refused("a read", device)) }
    }

    /// Header, repeated START, read: no STOP stands behind the header. `None`: not acknowledged, as a header may be that
    /// has more bytes than the part takes.
    pub(crate) fn try_read(&mut self, at: Place, bytes: usize) -> Result<Option<Vec<u8>>, Trouble> {
        let mut found = vec![0; bytes];
        let header = at.header();
        let done = if header.is_empty() {
            self.transfer(at.device, &mut [Operation::Read(&mut found)])?
        } else {
            self.transfer(at.device, &mut [Operation::Write(&header), Operation::Read(&mut found)])?
        };
        Ok(done.then_some(found))
    }

    /// The same; a part that refuses is trouble.
    pub(crate) fn read(&mut self, at: Place, bytes: usize) -> Result<Vec<u8>, Trouble> {
        self.try_read(at, bytes)?.ok_or_else(|| refused("a read", at.device))
    }

    /// Header and data, whatever becomes of them. `false`: not acknowledged.
    pub(crate) fn send(&mut self, at: Place, data: &[u8]) -> Result<bool, Trouble> {
        let mut bytes = at.header();
        bytes.extend_from_slice(data);
        if !data.is_empty() {
            self.writes += 1;
        }
        self.transfer(at.device, &mut [Operation::Write(&bytes)])
    }

    /// The header alone, which a part inside its write cycle refuses.
    pub(crate) fn poll(&mut self, at: Place) -> Result<bool, Trouble> {
        self.send(at, &[])
    }

    /// Polls until the part answers.
    pub(crate) fn settle(&mut self, at: Place) -> Result<Busy, Trouble> {
        self.heed()?;
        let end = self.now_ns();
        let limit = end + u64::from(self.limits.patience_ms) * 1_000_000;
        let mut at_least_ns = 0;
        loop {
            let begun = self.now_ns();
            if self.poll(at)? {
                return Ok(Busy { at_least_ns, at_most_ns: self.now_ns() - end });
            }
            at_least_ns = (begun - end).max(1);
            // A bus on which nobody is there any more may answer in no time.
            self.wires.pause_us(BETWEEN_POLLS_US);
            if begun > limit {
                let patience = self.limits.patience_ms;
                let text = format!("0x{:02X} does not answer for {patience} ms behind a write", at.device);
                return Err(Trouble::Part(text));
            }
        }
    }

    /// Bytes one at a time, so that no short block in which a read stays hides them.
    pub(crate) fn peek(&mut self, window: Window, offset: u32, bytes: u32) -> Result<Vec<u8>, Trouble> {
        let mut all = Vec::new();
        for at in offset..offset + bytes {
            all.extend(self.read(window.at(at), 1)?);
        }
        Ok(all)
    }

    /// Bytes one at a time, so that no page is in the way. `false`: one was not acknowledged.
    pub(crate) fn lay(&mut self, window: Window, offset: u32, bytes: &[u8]) -> Result<bool, Trouble> {
        for (at, byte) in (offset..).zip(bytes) {
            if self.store(window.at(at), &[*byte])?.is_none() {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Writes and waits; `None` where the write was not acknowledged.
    pub(crate) fn store(&mut self, at: Place, data: &[u8]) -> Result<Option<Busy>, Trouble> {
        let taken = self.send(at, data)?;
        let busy = self.settle(at)?;
        Ok(taken.then_some(busy))
    }
}

fn refused(what: &str, device: u8) -> Trouble {
    Trouble::Part(format!("0x{device:02X} does not acknowledge {what} any more"))
}

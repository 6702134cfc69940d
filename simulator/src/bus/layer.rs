//! The habits of HALs around any embedded-hal bus.

use alloc::vec::Vec;
use core::fmt;

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, Operation};

use crate::bus::BusFault;
use crate::bus::quirks::{AdjacentWrites, DirectionChange, OverLimit, Quirks, ZeroLength};
use crate::bus::transfer::{Check, decide, is_read, op_len};

/// Error of [`BusLayer`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayerError<E> {
    /// The bus below failed; `kind` is what this layer makes of it.
    Bus {
        /// The error itself.
        source: E,
        /// Its kind as reported.
        kind: ErrorKind,
    },
    /// The layer refused the call: nothing was sent.
    Refused(ErrorKind),
}

impl<E: fmt::Display> fmt::Display for LayerError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus { source, .. } => source.fmt(f),
            Self::Refused(kind) => write!(f, "refused by the bus layer: {kind}"),
        }
    }
}

impl<E: fmt::Debug + fmt::Display> core::error::Error for LayerError<E> {}

impl<E: Error> Error for LayerError<E> {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Bus { kind, .. } | Self::Refused(kind) => *kind,
        }
    }
}

/// Gives any bus the habits of some HAL; layers nest.
///
/// embedded-hal cannot express a repeated START between two writes to one device (rust-embedded/embedded-hal #582), so
/// that a layer over a foreign bus puts STOP and START where a quirk asks for one; [`crate::RigBus`] itself does it
/// exactly. The quirks of returning before STOP, of hanging and of dropped futures need the controller too and are not
/// done here.
#[derive(Debug, Clone)]
pub struct BusLayer<B> {
    bus: B,
    quirks: Quirks,
    calls: u32,
}

impl<B: I2c> BusLayer<B> {
    /// A layer around `bus`.
    #[must_use]
    pub const fn new(bus: B, quirks: Quirks) -> Self {
        Self { bus, quirks, calls: 0 }
    }

    /// Gives the bus back.
    pub fn into_inner(self) -> B {
        self.bus
    }

    fn error(&self, source: B::Error) -> LayerError<B::Error> {
        let kind = match source.kind() {
            ErrorKind::NoAcknowledge(place) => self.quirks.nack.kind(place),
            other => other,
        };
        LayerError::Bus { source, kind }
    }

    /// What is refused before anything is sent.
    fn check(&mut self, operations: &[Operation<'_>]) -> Result<(), LayerError<B::Error>> {
        self.calls += 1;
        // No call is a multiple of 0.
        let taken = self.calls.is_multiple_of(self.quirks.busy_every);
        let decided = if taken { Err(BusFault::Taken) } else { decide(operations, self.quirks) };
        match decided {
            Ok(Check::Go | Check::Nothing) => Ok(()),
            // Nothing here can wait for ever: a refusal shows it.
            Ok(Check::Hangs) => Err(LayerError::Refused(ErrorKind::Other)),
            Err(fault) => Err(LayerError::Refused(self.quirks.kind(fault))),
        }
    }

    /// Where this layer begins a transaction of its own: before the operation of each index.
    fn breaks(&self, operations: &[Operation<'_>]) -> Vec<usize> {
        let pairs = operations.windows(2).enumerate();
        let broken = pairs.filter(|(_, pair)| match (is_read(&pair[0]), is_read(&pair[1])) {
            (false, false) => {
                matches!(self.quirks.adjacent_writes, AdjacentWrites::Restart | AdjacentWrites::StopBetween)
            }
            (true, true) => false,
            _ => self.quirks.direction_change == DirectionChange::StopStart,
        });
        broken.map(|(i, _)| i + 1).collect()
    }
}

impl<B: I2c> ErrorType for BusLayer<B> {
    type Error = LayerError<B::Error>;
}

impl<B: I2c> I2c for BusLayer<B> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        self.check(operations)?;
        let mut breaks = self.breaks(operations);
        breaks.push(operations.len());
        let limit = match self.quirks.over_limit {
            OverLimit::SplitRestart | OverLimit::SplitStop => self.quirks.max_transfer,
            _ => None,
        };
        let (ignores, reads_only) = match self.quirks.zero_length {
            ZeroLength::Ignored => (true, false),
            ZeroLength::ReadsIgnored => (true, true),
            _ => (false, false),
        };
        let mut rest = operations;
        let mut from = 0;
        for until in breaks {
            let (now, later) = rest.split_at_mut(until - from);
            (rest, from) = (later, until);
            let mut part: Vec<Operation<'_>> = Vec::new();
            for op in now {
                if ignores && op_len(op) == 0 && (is_read(op) || !reads_only) {
                    continue;
                }
                part.push(match op {
                    Operation::Read(buffer) => {
                        let whole = buffer.len();
                        let len = if self.quirks.read_length_is_u16 { whole & 0xFFFF } else { whole };
                        Operation::Read(&mut buffer[..len])
                    }
                    Operation::Write(bytes) => Operation::Write(bytes),
                });
            }
            if part.is_empty() {
                continue;
            }
            for mut piece in pieces(part, limit) {
                self.bus.transaction(address, &mut piece).map_err(|source| self.error(source))?;
            }
        }
        Ok(())
    }
}

/// Operations cut into transactions in which no direction moves more than `limit` bytes at once.
fn pieces(operations: Vec<Operation<'_>>, limit: Option<usize>) -> Vec<Vec<Operation<'_>>> {
    let Some(limit) = limit.map(|limit| limit.max(1)) else { return alloc::vec![operations] };
    let (mut all, mut now) = (Vec::new(), Vec::new());
    let (mut before, mut moved) = (None, 0);
    for op in operations {
        let reads = is_read(&op);
        if before != Some(reads) {
            moved = 0;
        }
        before = Some(reads);
        let mut op = op;
        loop {
            if moved == limit {
                all.push(core::mem::take(&mut now));
                moved = 0;
            }
            let room = limit - moved;
            if op_len(&op) <= room {
                moved += op_len(&op);
                now.push(op);
                break;
            }
            let (first, rest) = cut(op, room);
            now.push(first);
            moved = limit;
            op = rest;
        }
    }
    all.push(now);
    all
}

fn cut(op: Operation<'_>, at: usize) -> (Operation<'_>, Operation<'_>) {
    match op {
        Operation::Read(buffer) => {
            let (first, rest) = buffer.split_at_mut(at);
            (Operation::Read(first), Operation::Read(rest))
        }
        Operation::Write(bytes) => {
            let (first, rest) = bytes.split_at(at);
            (Operation::Write(first), Operation::Write(rest))
        }
    }
}

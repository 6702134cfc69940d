//! The habits of HALs around any embedded-hal bus.

use alloc::vec::Vec;
use core::fmt;

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, Operation};

use crate::bus::quirks::{AdjacentWrites, DirectionChange, OverLimit, Quirks, ZeroLength};

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
        let quirks = self.quirks;
        self.calls += 1;
        let taken = quirks.busy_every > 0 && self.calls.is_multiple_of(quirks.busy_every);
        let two_writes = operations.windows(2).any(|pair| !is_read(&pair[0]) && !is_read(&pair[1]));
        let empty = operations.iter().any(|op| len(op) == 0);
        let early_read = operations.iter().rev().skip(1).any(is_read);
        if taken
            || (two_writes && quirks.adjacent_writes == AdjacentWrites::Refused)
            || (quirks.one_read_last && early_read)
            || (empty && matches!(quirks.zero_length, ZeroLength::Refused | ZeroLength::Hung))
        {
            return Err(LayerError::Refused(ErrorKind::Other));
        }
        if operations.is_empty() && quirks.empty_list_fails {
            return Err(LayerError::Refused(ErrorKind::Bus));
        }
        let refuses = match quirks.over_limit {
            OverLimit::Refuse => Some(ErrorKind::Other),
            OverLimit::RefuseAsBus => Some(ErrorKind::Bus),
            _ => None,
        };
        if let (Some(limit), Some(kind)) = (quirks.max_transfer, refuses) {
            let mut runs = operations.chunk_by(|a, b| is_read(a) == is_read(b));
            if runs.any(|run| run.iter().map(len).sum::<usize>() > limit) {
                return Err(LayerError::Refused(kind));
            }
        }
        Ok(())
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

fn is_read(op: &Operation<'_>) -> bool {
    matches!(op, Operation::Read(_))
}

fn len(op: &Operation<'_>) -> usize {
    match op {
        Operation::Read(buffer) => buffer.len(),
        Operation::Write(bytes) => bytes.len(),
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
                if ignores && len(op) == 0 && (is_read(op) || !reads_only) {
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
            if len(&op) <= room {
                moved += len(&op);
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

//! One transaction, step by step, so that the blocking and the async controller do the same.

use embedded_hal::i2c::Operation;

use crate::bus::BusFault;
use crate::bus::quirks::{AdjacentWrites, DirectionChange, OverLimit, Quirks, ZeroLength};
use crate::world::World;

/// What a HAL decides before anything is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Check {
    /// There is something to send.
    Go,
    /// Success without bus traffic.
    Nothing,
    /// The call never ends.
    Hangs,
}

pub(super) fn check(
    world: &mut World,
    address: u8,
    operations: &[Operation<'_>],
    quirks: Quirks,
) -> Result<Check, BusFault> {
    if address > 0x7F {
        return Err(BusFault::AddressOutOfRange(address));
    }
    world.calls += 1;
    // No call is a multiple of 0.
    if world.calls.is_multiple_of(quirks.busy_every.into()) {
        return Err(BusFault::Taken);
    }
    decide(operations, quirks)
}

/// The same for operations alone.
pub(super) fn decide(operations: &[Operation<'_>], quirks: Quirks) -> Result<Check, BusFault> {
    if operations.is_empty() {
        return if quirks.empty_list_fails { Err(BusFault::EmptyList) } else { Ok(Check::Nothing) };
    }
    check_order(operations, quirks)?;
    check_length(operations, quirks)?;
    let empty = |op: &&Operation<'_>| op_len(op) == 0;
    if operations.iter().any(|op| empty(&op)) {
        match quirks.zero_length {
            ZeroLength::Refused => return Err(BusFault::ZeroLength),
            ZeroLength::Hung => return Ok(Check::Hangs),
            _ => {}
        }
    }
    let nothing = operations.iter().all(|op| is_skipped(op, quirks));
    Ok(if nothing { Check::Nothing } else { Check::Go })
}

fn check_order(operations: &[Operation<'_>], quirks: Quirks) -> Result<(), BusFault> {
    let two_writes = operations.windows(2).any(|pair| !is_read(&pair[0]) && !is_read(&pair[1]));
    if two_writes && quirks.adjacent_writes == AdjacentWrites::Refused {
        return Err(BusFault::Unsupported);
    }
    let before_last = &operations[..operations.len() - 1];
    if quirks.one_read_last && before_last.iter().any(is_read) {
        return Err(BusFault::Unsupported);
    }
    Ok(())
}

fn check_length(operations: &[Operation<'_>], quirks: Quirks) -> Result<(), BusFault> {
    let Some(limit) = quirks.max_transfer else { return Ok(()) };
    if !matches!(quirks.over_limit, OverLimit::Refuse | OverLimit::RefuseAsBus) {
        return Ok(());
    }
    for run in operations.chunk_by(|a, b| is_read(a) == is_read(b)) {
        let len = run.iter().map(op_len).sum();
        if len > limit {
            return Err(BusFault::TooLong { len, limit });
        }
    }
    Ok(())
}

/// Whether this HAL leaves the operation out.
fn is_skipped(op: &Operation<'_>, quirks: Quirks) -> bool {
    op_len(op) == 0
        && match quirks.zero_length {
            ZeroLength::Ignored => true,
            ZeroLength::ReadsIgnored => is_read(op),
            _ => false,
        }
}

pub(super) fn op_len(op: &Operation<'_>) -> usize {
    match op {
        Operation::Read(buffer) => buffer.len(),
        Operation::Write(bytes) => bytes.len(),
    }
}

pub(super) fn is_read(op: &Operation<'_>) -> bool {
    matches!(op, Operation::Read(_))
}

/// One transaction under way.
pub(super) struct Transfer {
    quirks: Quirks,
    address: u8,
    /// Bytes moved at most in one step.
    chunk: usize,
    /// The operation under way, whether it has been begun, and how far it is.
    op: usize,
    begun: bool,
    offset: usize,
    /// Direction of the operation before.
    before: Option<bool>,
    /// Bytes moved since the last device address.
    moved: usize,
}

impl Transfer {
    pub(super) fn new(quirks: Quirks, address: u8, chunk: usize) -> Self {
        Self { quirks, address, chunk, op: 0, begun: false, offset: 0, before: None, moved: 0 }
    }

    /// One step; `Ok(false)` when only STOP is left.
    pub(super) fn advance(&mut self, world: &mut World, operations: &mut [Operation<'_>]) -> Result<bool, BusFault> {
        if self.op == 0 && !self.begun {
            world.begin_access();
        }
        let Some(op) = operations.get(self.op) else {
            self.release_line(world)?;
            return Ok(false);
        };
        if is_skipped(op, self.quirks) {
            self.op += 1;
            return Ok(true);
        }
        let reads = is_read(op);
        if !self.begun {
            self.begin_operation(world, reads)?;
            (self.before, self.begun, self.offset) = (Some(reads), true, 0);
            return Ok(true);
        }
        if self.offset < self.bytes_to_move(op) {
            self.move_bytes(world, operations)?;
        } else {
            (self.op, self.begun) = (self.op + 1, false);
        }
        Ok(true)
    }

    fn bytes_to_move(&self, op: &Operation<'_>) -> usize {
        let len = op_len(op);
        if self.quirks.read_length_is_u16 && is_read(op) { len & 0xFFFF } else { len }
    }

    fn begin_operation(&mut self, world: &mut World, reads: bool) -> Result<(), BusFault> {
        if self.before == Some(reads) {
            return match self.quirks.adjacent_writes {
                AdjacentWrites::Restart if !reads => self.begin(world, reads),
                AdjacentWrites::StopBetween if !reads => {
                    self.broken(world, reads, "a STOP between two adjacent writes")
                }
                _ => Ok(()),
            };
        }
        self.release_line(world)?;
        if self.before.is_some() && self.quirks.direction_change == DirectionChange::StopStart {
            world.stop();
        }
        self.begin(world, reads)
    }

    /// After a read without bytes the chip drives the next bit: a START or STOP is possible only if it is 1.
    fn release_line(&self, world: &mut World) -> Result<(), BusFault> {
        if self.moved == 0 && self.before == Some(true) { world.empty_read() } else { Ok(()) }
    }

    fn begin(&mut self, world: &mut World, reads: bool) -> Result<(), BusFault> {
        self.moved = 0;
        world.line_free()?;
        world.start();
        let acked = world.address(self.address << 1 | u8::from(reads));
        if acked { Ok(()) } else { Err(BusFault::AddressNack) }
    }

    /// The bus layer ends one write and begins another on its own account.
    fn broken(&mut self, world: &mut World, reads: bool, what: &str) -> Result<(), BusFault> {
        world.stop();
        if !reads {
            world.report_broken(self.address, what);
        }
        self.begin(world, reads)
    }

    fn move_bytes(&mut self, world: &mut World, operations: &mut [Operation<'_>]) -> Result<(), BusFault> {
        let op = &operations[self.op];
        let (reads, left) = (is_read(op), self.bytes_to_move(op) - self.offset);
        let room = match self.quirks.max_transfer {
            Some(limit) => limit.max(1).saturating_sub(self.moved),
            None => left,
        };
        if room == 0 {
            // A piece is full: what this HAL does before the next byte.
            return match self.quirks.over_limit {
                OverLimit::SplitStop => self.broken(world, reads, "a STOP inside one long write"),
                _ => self.begin(world, reads),
            };
        }
        let piece = left.min(room).min(self.chunk);
        let ends_piece = room == piece && self.quirks.max_transfer.is_some();
        let last = ends_piece || (piece == left && self.ends_read(&operations[self.op + 1..]));
        let range = self.offset..self.offset + piece;
        match &mut operations[self.op] {
            Operation::Write(bytes) => {
                let acked = world.send_all(&bytes[range]);
                if acked < piece {
                    return Err(BusFault::DataNack { byte: self.moved + acked });
                }
            }
            Operation::Read(buffer) => world.receive_all(&mut buffer[range], last),
        }
        self.offset += piece;
        self.moved += piece;
        Ok(())
    }

    /// Whether a read before these operations is the last of its direction, so that its last byte is not acknowledged.
    fn ends_read(&self, rest: &[Operation<'_>]) -> bool {
        let counts = |op: &&Operation<'_>| op_len(op) > 0 || (!is_skipped(op, self.quirks) && !is_read(op));
        rest.iter().find(counts).is_none_or(|op| !is_read(op))
    }

    /// STOP, and what detectors and ledger are told about what the controller was asked to do.
    pub(super) fn finish(
        &self,
        world: &mut World,
        operations: &[Operation<'_>],
        done: Result<(), BusFault>,
    ) -> Result<(), BusFault> {
        let stuck = matches!(done, Err(BusFault::SdaHeld | BusFault::NoSupply | BusFault::Hung));
        if !stuck && world.in_transfer {
            if self.quirks.early_return_ns > 0 {
                world.stop_due = Some(world.now + world.plan.period_ns + u64::from(self.quirks.early_return_ns));
            } else {
                world.stop();
            }
        }
        if !world.refused_in_access.is_empty() || world.detectors.awaits_access() {
            let refused = core::mem::take(&mut world.refused_in_access);
            world.book_access(self.address, operations, &refused, done.is_ok());
            world.refused_in_access = refused;
        }
        // The controller hangs on the same supply: a read that was cut off returns no bytes that mean anything.
        if world.supply_mv == 0 { Err(BusFault::NoSupply) } else { done }
    }
}

//! The planner: what to do next on the bus, and what an outcome means. It holds no bus, no bytes and no clock.
//!
//! A shell asks [`Plan::next`] for a [`Step`], performs it and reports the [`Outcome`] to [`Plan::complete`], until
//! the step is [`Step::Done`] or `complete` returns a [`Failure`]. All retries and all bounds are decided here, so
//! that the blocking and the async driver (and generated C) cannot differ.
//!
//! ```text
//!            pending write of an earlier call?
//!   start ──yes──▶ poll ──ACK──▶ access        access: one read, one page write or one comparison
//!     └─────no────────────────▶ access
//!
//!   access ──done──▶ (page write: poll until ACK) ──▶ next access, or done
//!   access ──NACK, first time──▶ poll until ACK ──▶ the same access once more
//!   access ──NACK, second time─▶ write protected (page write), bus error (read)
//!   poll ──NACK──▶ pause ──▶ poll, at most as often as write cycle and margin allow; then not answering (no write
//!                            of ours went before) or write cycle overrun (one did)
//!   anything ──other bus error──▶ bus error
//! ```
//!
//! With [`Wait::Fixed`] "poll until ACK" is one pause of write cycle and margin.

use crate::address::{Header, Location};
use crate::chunk::Cut;
use crate::geometry::Geometry;
use crate::options::{Policy, Wait};

/// What the shell has to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// One write call: header, then `length` bytes of the request from `start`, in one contiguous buffer.
    Write {
        /// Device address and header.
        place: Location,
        /// First byte, counted from the start of the request.
        start: usize,
        /// Number of data bytes, at least 1.
        length: usize,
    },
    /// One call that writes the header, then reads; only reads where the header is empty.
    Read {
        /// Device address and header.
        place: Location,
        /// First byte, counted from the start of the request.
        start: usize,
        /// Number of bytes, at least 1.
        length: usize,
    },
    /// As `Read`, into scratch memory, then a comparison with the bytes of the request.
    Compare {
        /// Device address and header.
        place: Location,
        /// First byte, counted from the start of the request.
        start: usize,
        /// Number of bytes, at least 1.
        length: usize,
    },
    /// Write the header without data; read one byte and drop it where the header is empty.
    Poll {
        /// Device address and header.
        place: Location,
    },
    /// Wait this long.
    Wait {
        /// Microseconds.
        us: u32,
    },
    /// The request is fulfilled.
    Done,
}

/// What came of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// It worked; for a comparison: all bytes are equal.
    Done,
    /// A comparison found this.
    Differs(Difference),
    /// An ACK was missing.
    Nack,
    /// Any other bus error.
    Failed,
}

/// The first byte that is not what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Difference {
    /// Index of the byte, counted from the start of the request.
    pub index: usize,
    /// What the request says.
    pub expected: u8,
    /// What the part holds.
    pub found: u8,
}

/// Why a plan ended without fulfilling its request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Failure {
    /// No ACK within the bound, and no write of this driver went before.
    NotAnswering,
    /// The part answers but refuses the data.
    WriteProtected {
        /// Offset of the refused page write.
        offset: u32,
    },
    /// No ACK within the bound after a write.
    WriteCycleOverrun {
        /// Polls without an answer.
        polls: u32,
        /// Pauses between them, in microseconds; bus time comes on top.
        waited_us: u32,
    },
    /// The bus reported an error, or a missing ACK where the part had just answered.
    Bus,
    /// What was written reads back differently.
    Differs(Difference),
    /// The outcome does not fit the step; a fault of the shell.
    OutOfStep,
}

/// Why a plan could not be made; nothing was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PlanError {
    /// The request does not lie inside the part.
    OutOfRange {
        /// Requested offset.
        offset: u32,
        /// Requested bytes.
        length: usize,
        /// Capacity of the part in bytes.
        capacity: u32,
    },
    /// No data byte fits beside the header.
    TransferTooSmall {
        /// Bytes that one call must be able to carry.
        needed: usize,
    },
}

/// What is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Job {
    /// Read into the request's bytes.
    Read,
    /// Write the request's bytes.
    Write,
    /// Write, and read each page back after its write cycle.
    WriteVerified,
    /// Read and compare; ends at the first difference.
    Compare,
    /// Compare page by page and write only the pages that differ.
    Update,
}

/// Counts of an [`Job::Update`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Updated {
    /// Page writes that were made.
    pub written: u32,
    /// Page writes that were spared, since the bytes were there already.
    pub kept: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Access {
    Read,
    Look,
    Store,
    Check,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reason {
    /// A write of this plan.
    Written,
    /// A write of an earlier call.
    Pending,
    /// An access without ACK, or a question for readiness.
    Busy,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Access,
    Poll(Reason),
    Wait(Reason),
    Done,
}

/// A request on its way. See the [module page](self).
///
/// ```
/// use pagewise_driver::plan::{Job, Outcome, Plan, Step};
/// use pagewise_driver::{Geometry, Options, Parameters, Policy};
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// let policy = Policy::new(&PART, &Options::new(), PART.buffer_bytes());
/// let mut plan = Plan::new(PART, policy, Job::Write, 0x20, 4).unwrap();
/// let place = PART.locate(0x20);
/// assert_eq!(plan.next(), Step::Write { place, start: 0, length: 4 });
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.next(), Step::Poll { place });
/// plan.complete(Outcome::Nack).unwrap();
/// assert_eq!(plan.next(), Step::Wait { us: 50 });
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.next(), Step::Poll { place });
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.next(), Step::Done);
/// ```
#[derive(Debug, Clone)]
pub struct Plan {
    geometry: Geometry,
    policy: Policy,
    first: Access,
    update: bool,
    verify: bool,
    /// Set where no address is sent: the part's own pointer counts.
    current: Option<u8>,
    pending: Option<Location>,
    offset: u32,
    length: usize,
    done: usize,
    chunk: usize,
    access: Access,
    phase: Phase,
    retried: bool,
    polls: u32,
    updated: Updated,
    difference: Option<Difference>,
}

impl Plan {
    /// A plan for `length` bytes at `offset`.
    ///
    /// # Errors
    ///
    /// [`PlanError::OutOfRange`] unless `length <= capacity - offset`; [`PlanError::TransferTooSmall`] if buffer or
    /// transfer limit leave no room for data. A length of zero inside the part is always a plan without steps.
    pub fn new(geometry: Geometry, policy: Policy, job: Job, offset: u32, length: usize) -> Result<Self, PlanError> {
        if !geometry.contains(offset, length) {
            return Err(PlanError::OutOfRange { offset, length, capacity: geometry.capacity_bytes() });
        }
        let mut plan = Self::blank(geometry, policy);
        plan.first = match job {
            Job::Read => Access::Read,
            Job::Write | Job::WriteVerified => Access::Store,
            Job::Compare | Job::Update => Access::Look,
        };
        plan.update = job == Job::Update;
        plan.verify = job == Job::WriteVerified;
        plan.offset = offset;
        plan.length = length;
        if length > 0 && plan.data_max() == 0 {
            let needed = usize::from(geometry.word_address_bytes()).saturating_add(1);
            return Err(PlanError::TransferTooSmall { needed });
        }
        plan.start_access();
        Ok(plan)
    }

    /// A plan that only waits until the part answers.
    pub fn ready(geometry: Geometry, policy: Policy) -> Self {
        let mut plan = Self::blank(geometry, policy);
        plan.start_wait(Reason::Busy);
        plan
    }

    /// A plan for a current address read: `length` bytes from the part's own pointer, at this device address.
    ///
    /// No poll is sent, since a poll would move the pointer: a read without ACK is itself repeated within the bound.
    ///
    /// # Errors
    ///
    /// [`PlanError::OutOfRange`] if `length` is more than the capacity, [`PlanError::TransferTooSmall`] if the
    /// transfer limit leaves no room for data.
    pub fn current(geometry: Geometry, policy: Policy, device_address: u8, length: usize) -> Result<Self, PlanError> {
        let mut plan = Self::new(geometry, policy, Job::Read, 0, length)?;
        plan.current = Some(device_address);
        if length > 0 {
            plan.start_access();
        }
        Ok(plan)
    }

    /// The same plan, but first the write of an earlier call, at this place, must be over.
    pub fn after(mut self, pending: Option<Location>) -> Self {
        let waits = self.length > 0 || self.phase != Phase::Done;
        if pending.is_some() && waits && self.current.is_none() {
            self.pending = pending;
            self.start_wait(Reason::Pending);
        }
        self
    }

    fn blank(geometry: Geometry, policy: Policy) -> Self {
        Self {
            geometry,
            policy,
            first: Access::Read,
            update: false,
            verify: false,
            current: None,
            pending: None,
            offset: 0,
            length: 0,
            done: 0,
            chunk: 0,
            access: Access::Read,
            phase: Phase::Done,
            retried: false,
            polls: 0,
            updated: Updated { written: 0, kept: 0 },
            difference: None,
        }
    }

    /// The next step. Asking again without [`Plan::complete`] gives the same step.
    pub fn next(&self) -> Step {
        let (start, length) = (self.done, self.chunk);
        let place = self.place();
        match self.phase {
            Phase::Done => Step::Done,
            Phase::Wait(_) if self.policy.wait == Wait::Fixed => Step::Wait { us: self.policy.limit_us },
            Phase::Wait(_) => Step::Wait { us: self.policy.poll_interval_us },
            Phase::Poll(_) if self.current.is_none() => Step::Poll { place },
            Phase::Access | Phase::Poll(_) => match self.access {
                Access::Read => Step::Read { place, start, length },
                Access::Store => Step::Write { place, start, length },
                Access::Look | Access::Check => Step::Compare { place, start, length },
            },
        }
    }

    /// Takes note of what came of the step that [`Plan::next`] named.
    ///
    /// # Errors
    ///
    /// The [`Failure`] that ends the plan. Afterwards the plan is over ([`Step::Done`]).
    pub fn complete(&mut self, outcome: Outcome) -> Result<(), Failure> {
        let result = match (self.phase, outcome) {
            (_, Outcome::Failed) => Err(Failure::Bus),
            (Phase::Access, Outcome::Done) => self.accessed(),
            (Phase::Access, Outcome::Differs(difference)) => self.differs(difference),
            (Phase::Access, Outcome::Nack) => self.refused(),
            (Phase::Poll(reason), Outcome::Done) => self.answered(reason),
            (Phase::Poll(reason), Outcome::Nack) => self.busy(reason),
            (Phase::Wait(reason), Outcome::Done) if self.policy.wait == Wait::Fixed => self.answered(reason),
            (Phase::Wait(reason), Outcome::Done) => {
                self.phase = Phase::Poll(reason);
                Ok(())
            }
            _ => Err(Failure::OutOfStep),
        };
        if result.is_err() {
            self.phase = Phase::Done;
        }
        result
    }

    /// Bytes of the request, from its start, that are known to be stored (or read).
    pub const fn safe_bytes(&self) -> usize {
        self.done
    }

    /// Page writes made and spared so far.
    pub const fn updated(&self) -> Updated {
        self.updated
    }

    /// What a [`Job::Compare`] found; `None` if all bytes are equal or the plan is not over.
    pub const fn difference(&self) -> Option<Difference> {
        self.difference
    }

    fn place(&self) -> Location {
        match (self.phase, self.pending, self.current) {
            (Phase::Poll(Reason::Pending) | Phase::Wait(Reason::Pending), Some(place), _) => place,
            (_, _, Some(device_address)) => Location { device_address, header: Header::EMPTY },
            _ => self.geometry.locate(self.position()),
        }
    }

    fn position(&self) -> u32 {
        self.offset.wrapping_add(self.done as u32)
    }

    fn data_max(&self) -> usize {
        match self.first {
            Access::Read => self.policy.read_data_max,
            _ if self.update || self.verify => self.policy.write_data_max.min(self.policy.read_data_max),
            _ => self.policy.write_data_max,
        }
    }

    /// Starts the access of the next chunk, or ends the plan.
    fn start_access(&mut self) {
        let left = self.length.saturating_sub(self.done);
        let cut = match self.first {
            Access::Read => Cut::Block,
            Access::Store if !self.verify => Cut::Page,
            _ => Cut::Both,
        };
        self.retried = false;
        self.access = self.first;
        self.chunk = match self.current {
            None => self.geometry.chunk_bytes(cut, self.position(), left, self.data_max()),
            Some(_) => left.min(self.data_max()),
        };
        if self.chunk == 0 {
            self.phase = Phase::Done;
        } else if self.current.is_some() {
            self.start_wait(Reason::Busy);
        } else {
            self.phase = Phase::Access;
        }
    }

    fn start_wait(&mut self, reason: Reason) {
        self.polls = 0;
        self.phase = match self.policy.wait {
            Wait::Fixed if self.current.is_none() => Phase::Wait(reason),
            _ => Phase::Poll(reason),
        };
    }

    fn advance(&mut self) -> Result<(), Failure> {
        self.done = self.done.saturating_add(self.chunk);
        self.start_access();
        Ok(())
    }

    fn accessed(&mut self) -> Result<(), Failure> {
        match self.access {
            Access::Read | Access::Check => return self.advance(),
            Access::Look => {
                self.updated.kept = self.updated.kept.saturating_add(1);
                return self.advance();
            }
            Access::Store => {}
        }
        self.updated.written = self.updated.written.saturating_add(1);
        let last = self.done.saturating_add(self.chunk) >= self.length;
        if self.geometry.write_cycle_us() == 0 || (self.policy.lazy && last && !self.verify) {
            return self.stored();
        }
        self.start_wait(Reason::Written);
        Ok(())
    }

    /// The write cycle is over, or there is none to wait for.
    fn stored(&mut self) -> Result<(), Failure> {
        if !self.verify {
            return self.advance();
        }
        self.repeat(Access::Check)
    }

    fn repeat(&mut self, access: Access) -> Result<(), Failure> {
        self.access = access;
        self.retried = false;
        self.phase = Phase::Access;
        Ok(())
    }

    fn differs(&mut self, difference: Difference) -> Result<(), Failure> {
        match self.access {
            Access::Look if self.update => self.repeat(Access::Store),
            Access::Look => {
                self.difference = Some(difference);
                self.phase = Phase::Done;
                Ok(())
            }
            Access::Check => Err(Failure::Differs(difference)),
            Access::Read | Access::Store => Err(Failure::OutOfStep),
        }
    }

    fn refused(&mut self) -> Result<(), Failure> {
        if !self.retried {
            self.retried = true;
            self.start_wait(Reason::Busy);
            return Ok(());
        }
        // With polling, the part has answered just before: what it refuses now is not its address.
        Err(match (self.policy.wait, self.access) {
            (Wait::Fixed, _) => Failure::NotAnswering,
            (Wait::Poll, Access::Store) => Failure::WriteProtected { offset: self.position() },
            (Wait::Poll, _) => Failure::Bus,
        })
    }

    fn answered(&mut self, reason: Reason) -> Result<(), Failure> {
        if self.current.is_some() {
            return self.advance();
        }
        if reason == Reason::Written {
            return self.stored();
        }
        self.phase = if self.done < self.length { Phase::Access } else { Phase::Done };
        Ok(())
    }

    fn busy(&mut self, reason: Reason) -> Result<(), Failure> {
        self.polls = self.polls.saturating_add(1);
        if self.polls >= self.policy.polls_max {
            let waited_us = self.polls.saturating_sub(1).saturating_mul(self.policy.poll_interval_us);
            return Err(match reason {
                Reason::Busy => Failure::NotAnswering,
                Reason::Written | Reason::Pending => Failure::WriteCycleOverrun { polls: self.polls, waited_us },
            });
        }
        self.phase = if self.policy.poll_interval_us == 0 { Phase::Poll(reason) } else { Phase::Wait(reason) };
        Ok(())
    }
}

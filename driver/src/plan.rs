//! The planner: what to do next on the bus, and what an outcome means. It holds no bus, no bytes and no clock.
//!
//! A shell asks [`Plan::step`] for a [`Step`], performs it and reports the [`Outcome`] to [`Plan::complete`], until
//! the action is [`Action::Done`] or `complete` returns a [`Failure`]. All retries and all bounds are decided here, so
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

mod state;
mod step;

pub use state::{State, Updated};
pub use step::{Action, Difference, Failure, Job, Outcome, PlanError, Step};

use crate::chunk::Cut;
use crate::options::{Config, Wait};

/// What a poll waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reason {
    /// The end of the write cycle of this plan's own page write.
    Written,
    /// The end of a write of an earlier call.
    Pending,
    /// An answer, after an access without one or because readiness was asked for.
    Busy,
}

/// A request on its way. See the [module page](self).
///
/// ```
/// use pagewise_driver::plan::{Action, Job, Outcome, Plan, State};
/// use pagewise_driver::{Config, Geometry, Options, Parameters};
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// let config = Config::new(PART, &Options::new(), PART.buffer_bytes());
/// let mut state = State::new();
/// let mut plan = Plan::new(&config, &mut state, Job::Write, 0x20, 4)?;
/// let step = plan.step();
/// assert_eq!((step.action, step.offset, step.start, step.length), (Action::Write, 0x20, 0, 4));
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!((plan.step().action, plan.step().offset), (Action::Poll, 0x20));
/// plan.complete(Outcome::Nack).unwrap();
/// assert_eq!((plan.step().action, plan.step().us), (Action::Wait, 50));
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.step().action, Action::Poll);
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.step().action, Action::Done);
/// # Ok::<(), pagewise_driver::plan::PlanError>(())
/// ```
#[derive(Debug)]
pub struct Plan<'c> {
    config: &'c Config,
    state: &'c mut State,
    job: Job,
    /// What comes next.
    action: Action,
    /// Read, write or comparison of this chunk; what is repeated after a wait.
    access: Action,
    reason: Reason,
    retried: bool,
    /// This chunk is written: a comparison now is one after the write.
    stored: bool,
    offset: u32,
    length: usize,
    done: usize,
    chunk: usize,
    polls: u32,
}

impl<'c> Plan<'c> {
    /// A plan for `length` bytes at `offset`. If an earlier plan left a write in its cycle (see [`State::pending`]),
    /// this one first waits for its end, at the device address of that write.
    ///
    /// # Errors
    ///
    /// [`PlanError::OutOfRange`] unless `length <= capacity - offset`; [`PlanError::TransferTooSmall`] if buffer or
    /// transfer limit leave no room for data. A length of zero inside the part is always a plan without steps, except
    /// for [`Job::Ready`], where it is all there is.
    pub fn new(
        config: &'c Config,
        state: &'c mut State,
        job: Job,
        offset: u32,
        length: usize,
    ) -> Result<Self, PlanError> {
        config.check(job, offset, length)?;
        state.forget();
        let mut plan = Self::idle(config, state, job, offset, length);
        plan.start();
        Ok(plan)
    }

    /// A plan for a request that [`Config::check`] has accepted; it waits for [`Plan::start`]. Apart from
    /// [`Plan::new`] so that the shells need not move a plan, which keeps the code small.
    pub(crate) fn idle(config: &'c Config, state: &'c mut State, job: Job, offset: u32, length: usize) -> Self {
        Self {
            config,
            state,
            job,
            action: Action::Done,
            access: Action::Read,
            reason: Reason::Busy,
            retried: false,
            stored: false,
            offset,
            length,
            done: 0,
            chunk: 0,
            polls: 0,
        }
    }

    pub(crate) fn start(&mut self) {
        self.next_access();
        if self.length > 0 || self.job == Job::Ready {
            if self.state.pending.is_some() {
                self.start_wait(Reason::Pending);
            } else if self.job == Job::Ready {
                self.start_wait(Reason::Busy);
            }
        }
    }

    /// The next step. Asking again without [`Plan::complete`] gives the same step.
    pub fn step(&mut self) -> Step {
        let mut offset = self.position();
        match (self.action, self.state.pending) {
            // Also for a write of this plan, where it is the position.
            (Action::Poll, Some(pending)) => offset = pending,
            (Action::Write, _) => self.state.pending = Some(offset),
            _ => {}
        }
        self.state.last = offset;
        Step { action: self.action, offset, start: self.done, length: self.chunk, us: self.config.pause_us }
    }

    /// Takes note of what came of the step that [`Plan::step`] named.
    ///
    /// # Errors
    ///
    /// The [`Failure`] that ends the plan.
    #[inline(never)] // Inside the loop of a shell it costs that loop registers, and so stack.
    pub fn complete(&mut self, outcome: Outcome) -> Result<(), Failure> {
        match (self.action, outcome) {
            (_, Outcome::Failed) => return Err(Failure::Bus),
            (Action::Wait, Outcome::Done) if self.config.wait == Wait::Poll => self.action = Action::Poll,
            (Action::Poll | Action::Wait, Outcome::Done) => self.answered(),
            (Action::Poll, Outcome::Nack) => return self.busy(),
            (Action::Compare, Outcome::Differs) => return self.differs(),
            (Action::Read | Action::Write | Action::Compare, Outcome::Done) => self.accessed(),
            (Action::Read | Action::Write | Action::Compare, Outcome::Nack) => return self.refused(),
            _ => return Err(Failure::OutOfStep),
        }
        Ok(())
    }

    /// Bytes of the request, from its start, that are known to be stored (or read).
    pub const fn safe_bytes(&self) -> usize {
        self.done
    }

    /// Offset of the access under way.
    pub const fn position(&self) -> u32 {
        self.offset.wrapping_add(self.done as u32)
    }

    /// Polls without an answer in the wait under way.
    pub const fn polls(&self) -> u32 {
        self.polls
    }

    /// Pauses between those polls in microseconds.
    pub const fn waited_us(&self) -> u32 {
        self.polls.saturating_sub(1).wrapping_mul(self.config.pause_us)
    }

    /// Says what a comparison found, before its outcome is reported.
    pub fn found(&mut self, difference: Difference) {
        self.state.difference = Some(difference);
    }

    /// What was found last.
    pub const fn difference(&self) -> Option<Difference> {
        self.state.difference
    }

    /// Starts the access of the next chunk, or ends the plan.
    fn next_access(&mut self) {
        let left = self.length.wrapping_sub(self.done);
        let (access, cut) = match self.job {
            Job::Read | Job::Ready => (Action::Read, Cut::Block),
            Job::Write => (Action::Write, Cut::Page),
            Job::WriteVerified => (Action::Write, Cut::Both),
            Job::Compare | Job::Update => (Action::Compare, Cut::Both),
        };
        let data_max = self.config.data_max(self.job);
        self.chunk = self.config.geometry.chunk_bytes(cut, self.position(), left, data_max);
        self.stored = false;
        self.begin(access);
        if self.chunk == 0 {
            self.action = Action::Done;
        }
    }

    fn begin(&mut self, access: Action) {
        self.access = access;
        self.action = access;
        self.retried = false;
    }

    fn start_wait(&mut self, reason: Reason) {
        self.polls = 0;
        self.reason = reason;
        self.action = match self.config.wait {
            Wait::Fixed => Action::Wait,
            Wait::Poll => Action::Poll,
        };
    }

    fn accessed(&mut self) {
        if self.action != Action::Write {
            self.state.updated.kept = self.state.updated.kept.wrapping_add(1);
            return self.advance();
        }
        self.state.updated.written = self.state.updated.written.wrapping_add(1);
        let last = self.done.wrapping_add(self.chunk) == self.length;
        let lazy = self.config.lazy && last && self.job != Job::WriteVerified;
        if self.config.geometry.write_cycle_us() == 0 {
            self.reason = Reason::Written;
            self.answered();
        } else if lazy {
            self.advance();
        } else {
            self.start_wait(Reason::Written);
        }
    }

    fn advance(&mut self) {
        self.done = self.done.wrapping_add(self.chunk);
        self.next_access();
    }

    /// The part is ready: after a write of this chunk (or without a write cycle to wait for), or for its access.
    fn answered(&mut self) {
        self.state.pending = None;
        if self.reason != Reason::Written {
            self.action = if self.chunk > 0 { self.access } else { Action::Done };
        } else if self.job == Job::WriteVerified {
            self.stored = true;
            self.begin(Action::Compare);
        } else {
            self.advance();
        }
    }

    fn differs(&mut self) -> Result<(), Failure> {
        if self.stored {
            return Err(Failure::Differs);
        }
        if self.job == Job::Update {
            self.begin(Action::Write);
        } else {
            self.action = Action::Done;
        }
        Ok(())
    }

    fn refused(&mut self) -> Result<(), Failure> {
        if !self.retried {
            self.retried = true;
            self.start_wait(Reason::Busy);
            return Ok(());
        }
        // With polling, the part has answered just before: what it refuses now is not its address.
        Err(match (self.config.wait, self.action) {
            (Wait::Fixed, _) => Failure::NotAnswering,
            (Wait::Poll, Action::Write) => Failure::WriteProtected,
            (Wait::Poll, _) => Failure::Bus,
        })
    }

    fn busy(&mut self) -> Result<(), Failure> {
        self.polls = self.polls.wrapping_add(1);
        if self.polls >= self.config.polls_max {
            if self.reason != Reason::Busy {
                return Err(Failure::WriteCycleOverrun);
            }
            // Whatever was sent before, no write cycle takes that long.
            self.state.pending = None;
            return Err(Failure::NotAnswering);
        }
        if self.config.pause_us > 0 {
            self.action = Action::Wait;
        }
        Ok(())
    }
}

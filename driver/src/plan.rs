//! The planner: what to do next on the bus, and what an outcome means. It holds no bus, no bytes and no clock.
//!
//! A shell asks [`Plan::step`] for a [`Step`], performs it and reports the [`Outcome`] to [`Plan::complete`], until
//! the action is [`Action::Done`] or `complete` returns a [`Failure`]. All retries and all bounds are decided here, so
//! that the blocking and the async driver cannot differ. (Generated C states the plan a second time; a test holds both to
//! the same bytes at the same times.)
//!
//! ```text
//!            pending write of an earlier call?
//!   start ──yes──▶ poll ──ACK──▶ access        access: one read, one page write or one comparison
//!     └─────no────────────────▶ access
//!
//!   access ──done──▶ next access, or done
//!   page write ──done──▶ ask with the next access, if it goes to the same device address; else poll until ACK
//!   access ──NACK, first time──▶ poll until ACK ──▶ the same access once more
//!   access ──NACK, second time─▶ write protected (page write), bus error (read)
//!   poll or asking access ──NACK──▶ pause ──▶ once more, at most as often as write cycle and margin allow; then not
//!                            answering (no write of ours in its cycle) or write cycle overrun (one was)
//!   anything ──other bus error──▶ bus error
//! ```
//!
//! A part inside its write cycle refuses the device address, before any data: an access that asks is on the wire what a
//! poll is until the part answers, and then it is under way already. The last try within the bound is always a poll, so
//! that a refused device address and refused data can be told apart.
//!
//! With `Options::with_learning` (feature `learning`) there is one pause before the first poll or asking access, as long as
//! the part has taken so far; what follows it is bounded as above, so the driver gives up later by that pause, never earlier.
//!
//! With [`Wait::Fixed`] "poll until ACK" is one pause of write cycle and margin, and no access asks.

mod limits;
#[cfg(feature = "learning")]
mod pace;
mod state;
mod step;

pub use state::{State, Updated};
pub use step::{Action, Difference, Failure, Job, Outcome, PlanError, Step};

use crate::chunk::Cut;
#[cfg(feature = "learning")]
use crate::options::POLL_US_MIN;
use crate::options::{Config, Wait};

/// What an access may still do when it is not answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tries {
    /// Wait until the part answers, and try again.
    First,
    /// Nothing: this is the second time, or the last.
    Last,
    /// It asks for the end of the write before it, like a poll.
    Asking,
}

/// A request on its way. See the [module page](self).
///
/// ```
/// use pagewise_driver::plan::{Action, Job, Outcome, Plan, State};
/// use pagewise_driver::{Config, Geometry, Options, Parameters};
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let config = Config::new(PART, &Options::new(), PART.buffer_bytes());
/// let mut state = State::new();
/// let mut plan = Plan::new(&config, &mut state, Job::Write, 0x20, 4)?;
/// let step = plan.step();
/// assert_eq!((step.action, step.offset, step.start, step.length), (Action::Write, 0x20, 0, 4));
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!((plan.step().action, plan.step().offset), (Action::Poll, 0x20)); // the last page: nothing else to ask with
/// plan.complete(Outcome::Nack).unwrap();
/// assert_eq!((plan.step().action, plan.step().us), (Action::Wait, 20));
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.step().action, Action::Poll);
/// plan.complete(Outcome::Done).unwrap();
/// assert_eq!(plan.step().action, Action::Done);
/// # Ok::<(), pagewise_driver::plan::PlanError>(())
/// ```
// In this order, so that single bytes are near the start: that is less code on the smallest processors.
#[derive(Debug)]
#[repr(C)]
pub struct Plan<'c> {
    job: Job,
    /// What comes next.
    action: Action,
    /// Read, write or comparison of this chunk; what is repeated after a wait.
    access: Action,
    tries: Tries,
    config: &'c Config,
    state: &'c mut State,
    offset: u32,
    length: usize,
    /// Start of the chunk under way.
    start: usize,
    chunk: usize,
    /// Bytes before it whose write may still be in its cycle.
    unsettled: usize,
    /// Polls that the wait under way may still take.
    polls_left: u32,
    /// The pause before the first poll of the wait under way, in microseconds; 0 for none.
    #[cfg(feature = "learning")]
    first_us: u32,
    /// The wait under way tells how long a write cycle takes.
    #[cfg(feature = "learning")]
    timing: bool,
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
            tries: Tries::First,
            offset,
            length,
            start: 0,
            chunk: 0,
            unsettled: 0,
            polls_left: config.polls_max,
            #[cfg(feature = "learning")]
            first_us: 0,
            #[cfg(feature = "learning")]
            timing: false,
        }
    }

    pub(crate) fn start(&mut self) {
        self.next_access();
        if self.job == Job::Ready || (self.length > 0 && self.state.pending().is_some()) {
            self.start_wait();
        }
    }

    /// The next step. Asking again without [`Plan::complete`] gives the same step.
    pub fn step(&mut self) -> Step {
        let mut offset = self.position();
        match (self.action, self.state.pending()) {
            (Action::Poll, Some(pending)) => offset = pending,
            (Action::Write, _) => self.state.set_pending(offset),
            _ => {}
        }
        self.state.last = offset;
        Step { action: self.action, offset, start: self.start, length: self.chunk, us: self.pause_us() }
    }

    #[cfg(not(feature = "learning"))]
    const fn pause_us(&self) -> u32 {
        self.config.pause_us
    }

    #[cfg(feature = "learning")]
    const fn pause_us(&self) -> u32 {
        if self.polls() == 0 && self.first_us > 0 { self.first_us } else { self.config.pause_us }
    }

    /// Takes note of what came of the step that [`Plan::step`] named.
    ///
    /// # Errors
    ///
    /// The [`Failure`] that ends the plan.
    #[inline(never)] // Inside the loop of a shell it costs that loop registers, and so stack.
    pub fn complete(&mut self, outcome: Outcome) -> Result<(), Failure> {
        #[cfg(feature = "learning")]
        self.heard(outcome);
        match (outcome, self.action) {
            (Outcome::Failed, _) => return Err(Failure::Bus),
            (Outcome::Differs, Action::Compare) => return self.differs(),
            (Outcome::Done, Action::Write) => self.wrote(),
            (Outcome::Done, Action::Read | Action::Compare) => self.accessed(),
            (Outcome::Done, Action::Wait) if self.config.wait == Wait::Poll => self.ask(),
            (Outcome::Done, Action::Wait | Action::Poll) => self.answered(),
            (Outcome::Nack, Action::Poll) => return self.busy(),
            (Outcome::Nack, Action::Read | Action::Write | Action::Compare) => return self.refused(),
            _ => return Err(Failure::OutOfStep),
        }
        Ok(())
    }

    /// Bytes of the request, from its start, that are known to be stored (or read).
    pub const fn safe_bytes(&self) -> usize {
        self.start.wrapping_sub(self.unsettled)
    }

    /// Offset of the access under way.
    pub const fn position(&self) -> u32 {
        self.offset.wrapping_add(self.start as u32)
    }

    /// Polls without an answer in the wait under way.
    pub const fn polls(&self) -> u32 {
        self.config.polls_max.wrapping_sub(self.polls_left)
    }

    /// Pauses between those polls (and before the first) in microseconds.
    pub const fn waited_us(&self) -> u32 {
        let between = self.polls().saturating_sub(1).wrapping_mul(self.config.pause_us);
        #[cfg(feature = "learning")]
        let between = between.saturating_add(self.first_us);
        between
    }

    /// Says what a comparison found, before its outcome is reported.
    pub fn found(&mut self, difference: Difference) {
        self.state.difference = Some(difference);
    }

    /// What was found last.
    pub const fn difference(&self) -> Option<Difference> {
        self.state.difference
    }

    pub(crate) fn note_failure(&mut self) {
        self.state.failed();
    }

    /// Starts the access of the next chunk, or ends the plan.
    fn next_access(&mut self) {
        let left = self.length.wrapping_sub(self.start);
        let (access, cut) = match self.job {
            Job::Read | Job::Ready => (Action::Read, Cut::Block),
            Job::Write => (Action::Write, Cut::Page),
            Job::WriteVerified => (Action::Write, Cut::Both),
            Job::Compare | Job::Update => (Action::Compare, Cut::Both),
        };
        let data_max = self.config.data_max(self.job);
        self.chunk = self.config.geometry.chunk_bytes(cut, self.position(), left, data_max);
        self.begin(if self.chunk > 0 { access } else { Action::Done });
    }

    fn begin(&mut self, access: Action) {
        self.access = access;
        self.action = access;
        self.tries = Tries::First;
        self.unsettled = 0;
    }

    fn start_wait(&mut self) {
        self.polls_left = self.config.polls_max;
        #[cfg(feature = "learning")]
        {
            self.first_us = 0;
            self.timing = false;
        }
        self.action = match self.config.wait {
            Wait::Fixed => Action::Wait,
            Wait::Poll => Action::Poll,
        };
    }

    /// Asks whether the part is ready, with a poll or with the access that waits for it.
    fn ask(&mut self) {
        self.action = if self.tries == Tries::Asking { self.access } else { Action::Poll };
    }

    fn accessed(&mut self) {
        self.state.settle();
        self.state.updated.kept = self.state.updated.kept.wrapping_add(1);
        self.advance();
    }

    /// A page write has gone out. Its end is asked for by the access that follows it, or else by polls.
    fn wrote(&mut self) {
        self.state.updated.written = self.state.updated.written.wrapping_add(1);
        let before = self.start;
        if self.job == Job::WriteVerified {
            self.begin(Action::Compare);
        } else {
            self.advance();
        }
        let last = self.action == Action::Done;
        if self.config.geometry.write_cycle_us() == 0 {
            self.state.settle();
        } else if !(last && self.config.lazy) {
            self.unsettled = self.start.wrapping_sub(before);
            self.start_wait();
            // Some parts promise to refuse their own device address only.
            if !last && self.position() & self.config.ask_mask > 0 {
                self.tries = Tries::Asking;
                self.ask();
            }
            #[cfg(feature = "learning")]
            self.wait_first();
        }
    }

    /// Waits as long as write cycles have taken so far, before anything is asked.
    #[cfg(feature = "learning")]
    fn wait_first(&mut self) {
        self.timing = self.config.learning;
        self.first_us = if self.timing { self.state.pace.wait_us() } else { 0 };
        if self.first_us > 0 {
            self.action = Action::Wait;
        }
    }

    /// Takes note of how long a write cycle took, when its end is told.
    #[cfg(feature = "learning")]
    fn heard(&mut self, outcome: Outcome) {
        let told = matches!(outcome, Outcome::Done | Outcome::Differs) && self.action != Action::Wait;
        if self.timing && told {
            self.timing = false;
            let shortest_us = self.config.pause_us.saturating_add(POLL_US_MIN);
            self.state.pace.note(self.polls(), shortest_us, self.config.geometry.write_cycle_us());
        }
    }

    fn advance(&mut self) {
        self.start = self.start.wrapping_add(self.chunk);
        self.next_access();
    }

    /// The part is ready for the access that waits, and stored is what was written before.
    fn answered(&mut self) {
        self.state.settle();
        self.unsettled = 0;
        self.action = self.access;
    }

    fn differs(&mut self) -> Result<(), Failure> {
        self.state.settle();
        match self.job {
            // Here a comparison comes after the write.
            Job::WriteVerified => return Err(Failure::Differs),
            Job::Update => self.begin(Action::Write),
            _ => self.action = Action::Done,
        }
        Ok(())
    }

    fn refused(&mut self) -> Result<(), Failure> {
        match self.tries {
            Tries::First => {
                // Nothing of ours is in its cycle: it has refused the access, or is busy from before.
                self.tries = Tries::Last;
                self.state.settle();
                self.start_wait();
                Ok(())
            }
            Tries::Asking => self.busy(),
            // With polling, the part has answered just before: what it refuses now is not its address.
            Tries::Last => Err(match (self.config.wait, self.action) {
                (Wait::Fixed, _) => Failure::NotAnswering,
                (Wait::Poll, Action::Write) => Failure::WriteProtected,
                (Wait::Poll, _) => Failure::Bus,
            }),
        }
    }

    fn busy(&mut self) -> Result<(), Failure> {
        self.polls_left = self.polls_left.wrapping_sub(1);
        if self.polls_left == 0 {
            let written = self.state.pending().is_some();
            return Err(if written { Failure::WriteCycleOverrun } else { Failure::NotAnswering });
        }
        if self.polls_left == 1 {
            // The last try is a poll: it tells a part that is busy from one that refuses the data.
            self.tries = Tries::Last;
        }
        if self.config.pause_us > 0 {
            self.action = Action::Wait;
        } else {
            self.ask();
        }
        Ok(())
    }
}

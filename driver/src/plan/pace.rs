//! How long this part's write cycles take, learned from how often it was asked in vain (feature `learning`).
//!
//! The driver has no clock, and does not know how long a poll takes on this bus. It knows how long it has waited before the
//! first poll, and how many polls were refused then. None: it waited too long, and cannot know by how much; so it waits a
//! little less, and more so each time in a row. One: just too short, so it waits a little longer. Several: much too short,
//! so it waits longer by that many times what a poll seems to take, once several write cycles in a row have agreed; cycles
//! of different lengths (a part that takes longer for more bytes) so lead to the shortest of them, and are polled for as
//! ever. A step that turns out too long is taken back by half.

/// Write cycles that must agree that the wait is much too short, once it is known.
const AGREEING: u8 = 8;

/// What is known so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Pace {
    /// Before the first poll, in microseconds; 0 while nothing is known.
    wait_us: u32,
    /// What a poll and its pause seem to take; 0 before the first write cycle.
    poll_us: u32,
    /// By how much less was waited the last time.
    less_us: u32,
    /// Polls that were refused in the last write cycle; fewest of those that agree; how many these are.
    last: u32,
    fewest: u32,
    agreeing: u8,
    /// The last change, if that was a long step.
    step_us: u32,
}

impl Pace {
    pub(crate) const fn new() -> Self {
        Self { wait_us: 0, poll_us: 0, less_us: 0, last: 0, fewest: 0, agreeing: 0, step_us: 0 }
    }

    pub(crate) const fn wait_us(&self) -> u32 {
        self.wait_us
    }

    /// Takes note of a write cycle: polls that were refused after the wait. `shortest_us` is the least that a poll with its
    /// pause takes on any bus, `most_us` the longest write cycle.
    pub(crate) fn note(&mut self, refused: u32, shortest_us: u32, most_us: u32) {
        self.poll_us = self.poll_us.max(shortest_us);
        let wait_us = match refused {
            0 if self.step_us > 1 => self.stepped_too_far(shortest_us),
            0 => self.too_long(),
            1 => self.just_too_short(),
            _ => self.too_short(refused, shortest_us),
        };
        self.wait_us = wait_us.min(most_us);
        self.last = refused;
    }

    fn stepped_too_far(&mut self, shortest_us: u32) -> u32 {
        self.poll_us = (self.poll_us >> 1).max(shortest_us);
        let half = self.step_us >> 1;
        self.step_us = if half < self.poll_us { 0 } else { half };
        self.agreeing = 0;
        self.less_us = 0;
        self.wait_us.saturating_sub(half)
    }

    fn too_long(&mut self) -> u32 {
        self.step_us = 0;
        self.agreeing = 0;
        let twice = self.less_us.saturating_mul(2).saturating_add(self.poll_us >> 5).saturating_add(1);
        self.less_us = twice.min(self.poll_us.saturating_mul(2));
        if self.last >= 2 {
            // Cycles of very different lengths.
            self.less_us = self.less_us.max(self.wait_us >> 3);
        }
        self.wait_us.saturating_sub(self.less_us)
    }

    fn just_too_short(&mut self) -> u32 {
        self.step_us = 0;
        self.agreeing = 0;
        self.less_us = 0;
        self.wait_us.saturating_add(self.poll_us >> 2)
    }

    fn too_short(&mut self, refused: u32, shortest_us: u32) -> u32 {
        self.less_us = 0;
        self.fewest = if self.agreeing == 0 { refused } else { self.fewest.min(refused) };
        self.agreeing = self.agreeing.saturating_add(1);
        let needed = if self.wait_us == 0 || self.step_us > 0 { 2 } else { AGREEING };
        if self.agreeing < needed {
            return self.wait_us;
        }
        let mut most_us = u32::MAX;
        if self.step_us > 0 {
            // The last long step was too short as well: a poll takes longer than it seemed. Not much longer: what asks for
            // more may be a few long write cycles among short ones.
            self.poll_us = self.poll_us.saturating_mul(2).min(shortest_us.saturating_mul(4));
            most_us = self.step_us.saturating_mul(2);
        }
        self.agreeing = 0;
        self.step_us = self.fewest.saturating_sub(1).saturating_mul(self.poll_us).min(most_us);
        self.wait_us.saturating_add(self.step_us)
    }
}

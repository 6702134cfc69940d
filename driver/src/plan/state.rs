//! What is remembered from one plan to the next.

#[cfg(feature = "learning")]
use super::pace::Pace;
use super::step::Difference;

/// Counts of an update.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Updated {
    /// Page writes that were made.
    pub written: u32,
    /// Page writes that were spared, since the bytes were there already.
    pub kept: u32,
}

impl Updated {
    pub(crate) fn plus(self, other: Self) -> Self {
        let written = self.written.wrapping_add(other.written);
        Self { written, kept: self.kept.wrapping_add(other.kept) }
    }
}

/// What has to be remembered from one plan to the next for one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct State {
    /// One more than the offset of a write that may still be in its cycle; 0 if there is none. Set before the write is
    /// sent, so that a call which is dropped in the middle leaves it.
    pending: u32,
    /// Offset behind the last request; while one is under way, of its last access.
    pub(crate) last: u32,
    pub(crate) updated: Updated,
    pub(crate) difference: Option<Difference>,
    /// Plans that have failed; stays at its end.
    failures: u32,
    #[cfg(feature = "learning")]
    pub(crate) pace: Pace,
}

impl State {
    /// Nothing is known yet.
    pub const fn new() -> Self {
        Self {
            pending: 0,
            last: 0,
            updated: Updated { written: 0, kept: 0 },
            difference: None,
            failures: 0,
            #[cfg(feature = "learning")]
            pace: Pace::new(),
        }
    }

    /// Forgets what the last plan has found.
    pub(crate) fn forget(&mut self) {
        self.updated = Updated { written: 0, kept: 0 };
        self.difference = None;
    }

    pub(crate) fn set_pending(&mut self, offset: u32) {
        self.pending = offset.wrapping_add(1);
    }

    pub(crate) fn settle(&mut self) {
        self.pending = 0;
    }

    /// Takes over what became of a job at another place of the same part: a write there is waited for at the first
    /// address, and what failed there counts here.
    pub(crate) fn follow(&mut self, other: &Self) {
        self.pending = other.pending.min(1);
        self.failures = self.failures.saturating_add(other.failures);
    }

    /// Takes note of a plan that has failed.
    pub(crate) fn failed(&mut self) {
        self.failures = self.failures.saturating_add(1);
    }

    /// How many plans have failed, as far as this counts.
    pub(crate) const fn failures(&self) -> u32 {
        self.failures
    }

    /// Offset of a write that may still be in its cycle.
    pub const fn pending(&self) -> Option<u32> {
        self.pending.checked_sub(1)
    }

    /// Page writes made and spared by the last plan.
    pub const fn updated(&self) -> Updated {
        self.updated
    }

    /// What the last plan found to differ; for [`Job::Compare`](super::Job::Compare), `None` if all bytes are equal.
    pub const fn difference(&self) -> Option<Difference> {
        self.difference
    }
}

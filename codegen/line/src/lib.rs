//! The production line: look at a part, plan, write, verify, and leave a record that can be trusted.
//!
//! One part at a time sits in a [`Socket`], on the simulated bus or on a Linux one ([`bus`]). [`look`] finds out by
//! reading only what sits there, [`plan`] decides whether it may be written and what differs, [`steps`] backs up,
//! writes, verifies. [`journal`] is written before the first byte and after the last one has been read back, so that
//! a run that is killed at any moment leaves no unit called good that is not; [`resume`] takes such a run up again.
//!
//! Nothing here writes to an address other than the part's own, and nothing writes before the look is content.

#![forbid(unsafe_code)]

pub mod backup;
pub mod bench;
pub mod bus;
pub mod difference;
mod error;
pub mod first_write;
pub mod journal;
#[cfg_attr(not(target_os = "linux"), path = "no_linux.rs")]
pub mod linux;
pub mod lock;
pub mod look;
pub mod plan;
pub mod progress;
pub mod report;
pub mod resume;
pub mod socket;
pub mod steps;
pub mod trouble;
pub mod units;
pub mod wanted;

pub use bus::{LineBus, LineDelay, SIMULATED};
pub use error::LineError;
pub use report::{Ending, Survey, UnitReport};
pub use socket::Socket;
pub use steps::{Order, program};
pub use wanted::Wanted;

use schemars::JsonSchema;
use serde::Serialize;

/// What the line is doing; the order in which it does it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// Reading only: who answers, what it holds.
    Look,
    /// Keeping what the part holds.
    Backup,
    /// Writing what differs.
    Write,
    /// Reading everything back.
    Verify,
    /// Locking for ever.
    Lock,
    /// Writing the journal.
    Record,
}

impl Step {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Look => "look",
            Self::Backup => "backup",
            Self::Write => "write",
            Self::Verify => "verify",
            Self::Lock => "lock",
            Self::Record => "record",
        }
    }
}

/// Why the line stopped at a unit: what happened and what to do, in words for the person at the line.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Halt {
    /// How the unit ends.
    pub result: Ending,
    /// Where.
    pub step: Step,
    /// What happened, with the numbers.
    pub reason: String,
    /// What to do.
    pub remedy: String,
    /// The hazard that this looks like.
    pub hazard: Option<&'static str>,
}

impl Halt {
    /// Something is wrong; nobody decided it.
    pub(crate) fn failed(step: Step, reason: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { result: Ending::Failed, step, reason: reason.into(), remedy: remedy.into(), hazard: None }
    }

    /// The line would lose something and wants to be told to.
    pub(crate) fn refused(step: Step, reason: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { result: Ending::Refused, ..Self::failed(step, reason, remedy) }
    }

    /// Somebody asked to stop.
    pub(crate) fn stopped(step: Step) -> Self {
        let remedy = "run the same command again to go on";
        Self { result: Ending::Stopped, ..Self::failed(step, "stopped on request", remedy) }
    }

    pub(crate) const fn named(mut self, hazard: &'static str) -> Self {
        self.hazard = Some(hazard);
        self
    }
}

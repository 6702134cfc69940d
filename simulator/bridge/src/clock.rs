//! The clock of a simulated bus: that of the host, or one that only the program moves.

use std::time::{Duration, Instant};

use pagewise_simulator::Rig;

/// What moves virtual time.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Clock {
    /// The monotonic clock of the host.
    Real(Instant),
    /// Bus traffic and the program's sleeps.
    Virtual,
}

impl Clock {
    pub(crate) fn new(is_virtual: bool) -> Self {
        if is_virtual { Self::Virtual } else { Self::Real(Instant::now()) }
    }

    /// Before a transfer: time that passed on the host passes for the chips.
    pub(crate) fn catch_up(self, rig: &Rig) {
        if let Self::Real(start) = self {
            let passed = start.elapsed().as_nanos() as u64;
            rig.advance_ns(passed.saturating_sub(rig.now_ns()));
        }
    }

    /// After a transfer: how long the host has still to wait until the transfer is over.
    pub(crate) fn lead(self, rig: &Rig) -> Duration {
        match self {
            Self::Real(start) => Duration::from_nanos(rig.now_ns()).saturating_sub(start.elapsed()),
            Self::Virtual => Duration::ZERO,
        }
    }
}

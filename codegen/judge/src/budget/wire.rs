//! How long things take on the wire, from clocks alone.
//!
//! | on the bus | SCL periods | source |
//! |---|---|---|
//! | byte with its acknowledge bit | 9 | UM10204: nine clocks per byte |
//! | START, STOP | 1 each | a plan that keeps hold, set-up and bus-free times of every bus mode at its full rate |
//! | repeated START | 2 | the same |
//!
//! Page write: `9 (1 + w + n)` clocks; random read: `9 (1 + w + 1 + n)` clocks, for `w` word-address bytes and `n` data
//! bytes, START and STOP not counted. Pauses of the controller between bytes are not known and not counted.

use schemars::JsonSchema;
use serde::Serialize;

/// The clock of a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Clock {
    /// One SCL period in nanoseconds, rounded up.
    pub period_ns: u64,
}

/// Clocks of `bytes` bytes, acknowledge bits included.
#[must_use]
pub const fn byte_clocks(bytes: u64) -> u64 {
    9 * bytes
}

/// Clocks of a page write, START and STOP not counted.
#[must_use]
pub const fn write_clocks(address_bytes: u64, data_bytes: u64) -> u64 {
    byte_clocks(1 + address_bytes + data_bytes)
}

/// Clocks of a random read, START, repeated START and STOP not counted. Without word-address bytes the part is read
/// directly, and the second device address is not sent.
#[must_use]
pub const fn read_clocks(address_bytes: u64, data_bytes: u64) -> u64 {
    let second_address = if address_bytes > 0 { 1 } else { 0 };
    byte_clocks(1 + address_bytes + second_address + data_bytes)
}

impl Clock {
    /// The clock of an SCL rate in kHz; 0 counts as 1.
    #[must_use]
    pub const fn of_khz(scl_khz: u32) -> Self {
        let khz = if scl_khz == 0 { 1 } else { scl_khz as u64 };
        Self { period_ns: 1_000_000_u64.div_ceil(khz) }
    }

    /// A page write from START to STOP, in nanoseconds.
    #[must_use]
    pub const fn write_ns(self, address_bytes: u64, data_bytes: u64) -> u64 {
        self.period_ns * (1 + write_clocks(address_bytes, data_bytes) + 1)
    }

    /// A random read from START to STOP, in nanoseconds.
    #[must_use]
    pub const fn read_ns(self, address_bytes: u64, data_bytes: u64) -> u64 {
        let restart = if address_bytes > 0 { 2 } else { 0 };
        self.period_ns * (1 + read_clocks(address_bytes, data_bytes) + restart + 1)
    }

    /// One poll without an answer: START, device address, STOP.
    #[must_use]
    pub const fn refused_poll_ns(self) -> u64 {
        self.period_ns * (1 + byte_clocks(1) + 1)
    }

    /// The poll that is answered: as a write without data, or, where there is no word address, a read of one byte.
    #[must_use]
    pub const fn answered_poll_ns(self, address_bytes: u64) -> u64 {
        if address_bytes == 0 { self.read_ns(0, 1) } else { self.write_ns(address_bytes, 0) }
    }

    /// Polls without an answer that follow each other, without a pause, in a write cycle of `cycle_ns`.
    ///
    /// A part that becomes ready while its device address is sent answers that one, up to the eighth rising SCL; SCL is
    /// taken to be high for 45 % of a period, which keeps the minima of all bus modes.
    #[must_use]
    pub const fn refused_polls(self, cycle_ns: u64) -> u64 {
        let high_ns = self.period_ns * 9 / 20;
        let decided_ns = self.period_ns * 9 - high_ns;
        cycle_ns.saturating_sub(decided_ns).div_ceil(self.refused_poll_ns())
    }

    /// From the STOP of a write to the STOP of the poll that is answered, polling without a pause.
    #[must_use]
    pub const fn polling_ns(self, address_bytes: u64, cycle_ns: u64) -> u64 {
        if cycle_ns == 0 {
            return 0;
        }
        self.refused_polls(cycle_ns) * self.refused_poll_ns() + self.answered_poll_ns(address_bytes)
    }
}

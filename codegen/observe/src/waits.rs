//! What happens between a write and the next access: the firmware's wait, and the write cycle of the part.

use crate::property::{At, Moments};
use crate::stats::Range;

/// A write that has been stored by nobody yet, as far as the bus shows.
#[derive(Debug, Clone)]
struct Pending {
    stop: At,
    length: usize,
    refusals: u64,
    /// START of the last refused access.
    last_try_ns: u64,
    /// Eighth rising SCL of the last refused device address.
    refused_ns: u64,
    /// A read was acknowledged, which some parts do inside the write cycle.
    read_since: bool,
}

/// What the waits of one device address show.
#[derive(Debug, Clone, Default)]
pub(crate) struct Waits {
    pending: Option<Pending>,
    /// STOP of a write to the first try after it, in nanoseconds, where the try was acknowledged.
    pub(crate) gaps: Range,
    /// The same where it was refused.
    pub(crate) first_tries: Range,
    /// From one refused try to the next try.
    pub(crate) intervals: Range,
    /// Refused tries before the acknowledged one.
    pub(crate) runs: Range,
    /// From the STOP to the end of polling.
    pub(crate) polled: Range,
    /// Tries that ended a run of refusals and had no other purpose: by a write without data, by a read.
    pub(crate) idle_writes: u64,
    pub(crate) idle_reads: u64,
    /// Tries by a write without data that nobody refused.
    pub(crate) idle_at_once: u64,
    /// The same by a read of one byte without word address.
    pub(crate) reads_at_once: u64,
    pub(crate) idle_at: Moments,
    /// Writes that were refused and whose acknowledged follower carried data.
    pub(crate) followed_by_data: u64,
    /// Last refusal and first acknowledged write after each write: bounds of its cycle.
    pub(crate) refused_until: Range,
    pub(crate) over_by: Range,
    /// Both for the write whose last refusal came latest.
    pub(crate) longest: Option<(u64, At, u64, At)>,
    /// Lengths of messages after which the device was busy.
    pub(crate) busy_after: Range,
}

impl Waits {
    pub(crate) fn is_pending(&self) -> bool {
        self.pending.is_some()
    }

    pub(crate) fn forget(&mut self) {
        self.pending = None;
    }

    /// A message with data ended with a STOP.
    pub(crate) fn wrote(&mut self, stop: At, length: usize) {
        self.pending =
            Some(Pending { stop, length, refusals: 0, last_try_ns: stop.ns, refused_ns: 0, read_since: false });
    }

    /// The device address was refused: START and eighth rising SCL.
    pub(crate) fn refused(&mut self, start: At, eighth_ns: u64) {
        let Some(pending) = &mut self.pending else { return };
        if pending.refusals == 0 {
            self.first_tries.add(start.ns - pending.stop.ns, start);
            self.busy_after.add(pending.length as u64, pending.stop);
        } else {
            self.intervals.add(start.ns - pending.last_try_ns, start);
        }
        pending.refusals += 1;
        (pending.last_try_ns, pending.refused_ns) = (start.ns, eighth_ns);
    }

    /// The device address was acknowledged: in a read (`read`), or in a write that carries `length` bytes.
    pub(crate) fn answered(&mut self, start: At, eighth_ns: u64, read: bool, length: usize, idle: bool) {
        let Some(pending) = &mut self.pending else { return };
        let since = start.ns - pending.stop.ns;
        let first = !pending.read_since;
        if first && pending.refusals > 0 {
            self.intervals.add(start.ns - pending.last_try_ns, start);
            self.runs.add(pending.refusals, start);
            self.polled.add(since, start);
            self.refused_until.add(pending.refused_ns - pending.stop.ns, At { ns: pending.refused_ns, ..start });
            if idle {
                self.idle_at.add(start);
                let tally = if read { &mut self.idle_reads } else { &mut self.idle_writes };
                *tally += 1;
            } else if !read && length > 0 {
                self.followed_by_data += 1;
            }
        } else if first {
            self.gaps.add(since, start);
            if idle && read {
                self.reads_at_once += 1;
            } else if idle {
                self.idle_at_once += 1;
                self.idle_at.add(start);
            }
        }
        if read {
            // A part may acknowledge a read inside its write cycle: only a write shows that it is over.
            pending.read_since = true;
            return;
        }
        let over = eighth_ns - pending.stop.ns;
        self.over_by.add(over, start);
        if pending.refusals > 0 && first {
            let refused = pending.refused_ns - pending.stop.ns;
            let refused_at = At { ns: pending.refused_ns, ..start };
            if self.longest.is_none_or(|(longest, ..)| refused > longest) {
                self.longest = Some((refused, refused_at, over, start));
            }
        }
        self.pending = None;
    }
}

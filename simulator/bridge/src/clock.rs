//! Virtual time as a program sees it: one clock for all processes, moved by bus traffic, by sleeps, and a little by each
//! look at it, so that nobody waits for it in vain.
//!
//! Each thread knows the time that it has reached. A sleep begins there, not at what others have reached meanwhile: two
//! threads that sleep 10 ms side by side take 10 ms.

use std::cell::Cell;
use std::time::Duration;

use pagewise_session::protocol::clock;
use rustix::time::{ClockId, Timespec, clock_gettime};

use crate::found;
use crate::page::Page;

/// What a look at the clock takes.
const LOOK_NS: u64 = 1000;

thread_local! {
    /// What this thread has reached; 0 for nothing yet.
    static REACHED: Cell<u64> = const { Cell::new(0) };
}

fn now(page: &Page) -> u64 {
    page.get(clock::BUS).max(page.get(clock::CLIENTS))
}

fn reach(page: &Page, ns: u64) {
    page.reach(ns);
    REACHED.set(ns);
    if ns >= page.get(clock::CUT) {
        found::die();
    }
}

/// What this thread has reached; 0 where time is not virtual.
pub(crate) fn reached() -> u64 {
    let Some(page) = found::page() else { return 0 };
    match REACHED.get() {
        0 => now(page),
        reached => reached,
    }
}

/// A thread begins where the one was that made it.
pub(crate) fn begins_at(ns: u64) {
    REACHED.set(ns);
}

/// This thread has waited for something that others do: what they have reached, it has.
pub(crate) fn waited() {
    if let Some(page) = found::page() {
        REACHED.set(now(page));
    }
}

/// In virtual time, moves the clock by a sleep of this thread. Returns whether it did.
pub(crate) fn slept(time: Duration) -> bool {
    let Some(page) = found::page() else { return false };
    reach(page, reached().saturating_add(u64::try_from(time.as_nanos()).unwrap_or(u64::MAX)).min(1 << 62));
    true
}

/// The place of the clock's beginning, for clocks that are virtual.
fn beginning(id: i32) -> Option<usize> {
    Some(match id {
        libc::CLOCK_REALTIME | libc::CLOCK_REALTIME_COARSE => clock::REALTIME,
        libc::CLOCK_MONOTONIC | libc::CLOCK_MONOTONIC_RAW | libc::CLOCK_MONOTONIC_COARSE => clock::MONOTONIC,
        libc::CLOCK_BOOTTIME => clock::BOOTTIME,
        _ => return None,
    })
}

/// What a clock of the program shows, in nanoseconds; `None` where that is the host's.
pub(crate) fn look(id: i32) -> Option<u64> {
    let (page, place) = (found::page()?, beginning(id)?);
    let now = now(page) + LOOK_NS;
    reach(page, now);
    Some(page.get(place) + now)
}

/// How long it is until a time on a clock of the program; `None` where that is the host's.
pub(crate) fn until(id: i32, at_ns: u64) -> Option<Duration> {
    Some(Duration::from_nanos(at_ns.saturating_sub(look(id)?)))
}

/// The clock that a time without one is on: that of the calendar, or the monotonic one, whichever is nearer.
pub(crate) fn guess(at_ns: u64) -> i32 {
    let Some(page) = found::page() else { return libc::CLOCK_REALTIME };
    let far = |place| page.get(place).abs_diff(at_ns);
    if far(clock::MONOTONIC) < far(clock::REALTIME) { libc::CLOCK_MONOTONIC } else { libc::CLOCK_REALTIME }
}

/// The time on the host's clock that lies so far ahead.
pub(crate) fn on_host(id: i32, ahead: Duration) -> libc::timespec {
    let id = if id == libc::CLOCK_REALTIME { ClockId::Realtime } else { ClockId::Monotonic };
    let Timespec { tv_sec, tv_nsec } = clock_gettime(id);
    let ns = tv_nsec as u64 + u64::from(ahead.subsec_nanos());
    let seconds = (tv_sec as u64).saturating_add(ahead.as_secs()).saturating_add(ns / 1_000_000_000);
    libc::timespec { tv_sec: seconds.min(i64::MAX as u64) as _, tv_nsec: (ns % 1_000_000_000) as _ }
}

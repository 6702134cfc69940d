//! Sleeping: in virtual time it moves the clock of the bus and returns at once.

use std::ffi::{c_int, c_uint};
use std::mem::MaybeUninit;
use std::time::Duration;

use super::real;
use crate::state;

/// A time as the C library writes it; `None` if it is not one.
fn duration(time: libc::timespec) -> Option<Duration> {
    let ns = u32::try_from(time.tv_nsec).ok().filter(|ns| *ns < 1_000_000_000)?;
    Some(Duration::new(u64::try_from(time.tv_sec).ok()?, ns))
}

/// # Safety
///
/// `time` is null or points to a time.
unsafe fn read(time: *const libc::timespec) -> Option<Duration> {
    // SAFETY: what the caller promises.
    unsafe { time.as_ref() }.copied().and_then(duration)
}

/// # Safety
///
/// As `nanosleep` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn nanosleep(time: *const libc::timespec, left: *mut libc::timespec) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function; so below.
    unsafe { if read(time).is_some_and(state::slept) { 0 } else { real::nanosleep(time, left) } }
}

/// # Safety
///
/// As `clock_nanosleep` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn clock_nanosleep(
    clock: libc::clockid_t,
    flags: c_int,
    time: *const libc::timespec,
    left: *mut libc::timespec,
) -> c_int {
    // SAFETY: as `nanosleep`; the clock writes the time that it has.
    unsafe {
        let mut asked = read(time);
        if flags & libc::TIMER_ABSTIME != 0 {
            let mut now = MaybeUninit::<libc::timespec>::zeroed();
            let known = libc::clock_gettime(clock, now.as_mut_ptr()) == 0;
            let now = known.then(|| duration(now.assume_init())).flatten();
            asked = asked.zip(now).map(|(until, now)| until.saturating_sub(now));
        }
        if asked.is_some_and(state::slept) { 0 } else { real::clock_nanosleep(clock, flags, time, left) }
    }
}

/// # Safety
///
/// As `usleep` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn usleep(us: c_uint) -> c_int {
    // SAFETY: as `nanosleep`.
    if state::slept(Duration::from_micros(us.into())) { 0 } else { unsafe { real::usleep(us) } }
}

/// # Safety
///
/// As `sleep` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn sleep(seconds: c_uint) -> c_uint {
    // SAFETY: as `nanosleep`.
    if state::slept(Duration::from_secs(seconds.into())) { 0 } else { unsafe { real::sleep(seconds) } }
}

//! Sleeping and the clocks: in virtual time a sleep moves the clock of the bus and returns at once, and every clock shows
//! that time.

use std::ffi::{c_int, c_uint, c_void};
use std::time::Duration;

use super::{answered, real};
use crate::{Errno, clock};

/// A time as the C library writes it; `None` if it is not one.
fn duration(time: libc::timespec) -> Option<Duration> {
    let ns = u32::try_from(time.tv_nsec).ok().filter(|ns| *ns < 1_000_000_000)?;
    Some(Duration::new(u64::try_from(time.tv_sec).ok()?, ns))
}

/// # Safety
///
/// `time` is null or points to a time.
pub(super) unsafe fn read(time: *const libc::timespec) -> Option<Duration> {
    // SAFETY: what the caller promises.
    unsafe { time.as_ref() }.copied().and_then(duration)
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn nanosleep(time: *const libc::timespec, left: *mut libc::timespec) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { if read(time).is_some_and(clock::slept) { 0 } else { real::nanosleep(time, left) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn clock_nanosleep(
    id: libc::clockid_t,
    flags: c_int,
    time: *const libc::timespec,
    left: *mut libc::timespec,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let mut asked = read(time);
        if flags & libc::TIMER_ABSTIME != 0 {
            asked = asked.and_then(|until| clock::until(id, until.as_nanos() as u64));
        }
        if asked.is_some_and(clock::slept) { 0 } else { real::clock_nanosleep(id, flags, time, left) }
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn usleep(us: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    if clock::slept(Duration::from_micros(us.into())) { 0 } else { unsafe { real::usleep(us) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn sleep(seconds: c_uint) -> c_uint {
    // SAFETY: the program keeps the contract of the C library's function.
    if clock::slept(Duration::from_secs(seconds.into())) { 0 } else { unsafe { real::sleep(seconds) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn clock_gettime(id: libc::clockid_t, into: *mut libc::timespec) -> c_int {
    if let Some(ns) = clock::look(id) {
        if into.is_null() {
            return answered(|| Err(Errno(libc::EFAULT)));
        }
        let (tv_sec, tv_nsec) = ((ns / 1_000_000_000) as _, (ns % 1_000_000_000) as _);
        // SAFETY: not null, and the program promises the room.
        unsafe { into.write(libc::timespec { tv_sec, tv_nsec }) };
        return 0;
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::clock_gettime(id, into) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn gettimeofday(into: *mut libc::timeval, zone: *mut c_void) -> c_int {
    if let Some(ns) = clock::look(libc::CLOCK_REALTIME).filter(|_| !into.is_null()) {
        let (tv_sec, tv_usec) = ((ns / 1_000_000_000) as _, (ns % 1_000_000_000 / 1000) as _);
        // SAFETY: not null, and the program promises the room.
        unsafe { into.write(libc::timeval { tv_sec, tv_usec }) };
        return 0;
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::gettimeofday(into, zone) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn time(place: *mut libc::time_t) -> libc::time_t {
    if let Some(ns) = clock::look(libc::CLOCK_REALTIME) {
        let seconds = (ns / 1_000_000_000) as libc::time_t;
        // SAFETY: null, or the program promises the room.
        if let Some(place) = unsafe { place.as_mut() } {
            *place = seconds;
        }
        return seconds;
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::time(place) }
}

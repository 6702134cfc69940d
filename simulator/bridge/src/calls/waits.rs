//! Waiting for others, and waiting with an end: in virtual time a thread reaches what those reached that it waited for, and
//! a wait that ran out has taken its time.

use std::ffi::{c_int, c_uint, c_void};
use std::time::Duration;

use super::{quietly, real, time};
use crate::clock;

/// After a wait for others.
fn waited<T>(result: T) -> T {
    quietly(clock::waited);
    result
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn wait(status: *mut c_int) -> libc::pid_t {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::wait(status) })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn waitpid(process: libc::pid_t, status: *mut c_int, options: c_int) -> libc::pid_t {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::waitpid(process, status, options) })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn wait3(status: *mut c_int, options: c_int, usage: *mut c_void) -> libc::pid_t {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::wait3(status, options, usage) })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn wait4(
    process: libc::pid_t,
    status: *mut c_int,
    options: c_int,
    usage: *mut c_void,
) -> libc::pid_t {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::wait4(process, status, options, usage) })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn waitid(kind: c_uint, id: c_uint, info: *mut c_void, options: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::waitid(kind, id, info, options) })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pthread_join(thread: libc::pthread_t, result: *mut *mut c_void) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    waited(unsafe { real::join(thread, result) })
}

/// What a new thread does, and what the one that makes it has reached.
struct Beginning {
    start: extern "C" fn(*mut c_void) -> *mut c_void,
    argument: *mut c_void,
    reached: u64,
}

extern "C" fn begin(beginning: *mut c_void) -> *mut c_void {
    // SAFETY: made by Box::into_raw below, for this thread alone.
    let beginning = unsafe { Box::from_raw(beginning.cast::<Beginning>()) };
    let Beginning { start, argument, reached } = *beginning;
    clock::begins_at(reached);
    start(argument)
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pthread_create(
    thread: *mut libc::pthread_t,
    attributes: *const c_void,
    start: extern "C" fn(*mut c_void) -> *mut c_void,
    argument: *mut c_void,
) -> c_int {
    let reached = clock::reached();
    // SAFETY: the program keeps the contract of the C library's function; so below.
    unsafe {
        if reached == 0 {
            return real::create(thread, attributes, start, argument);
        }
        let beginning = Box::into_raw(Box::new(Beginning { start, argument, reached }));
        let result = real::create(thread, attributes, begin, beginning.cast());
        if result != 0 {
            // No thread took it.
            drop(Box::from_raw(beginning));
        }
        result
    }
}

/// A wait with an end on a virtual clock: the host waits as long. `ran_out` says that nothing came.
///
/// # Safety
///
/// `until` is null or points to a time.
unsafe fn ending<T: Copy>(
    id: impl FnOnce(u64) -> c_int,
    until: *const libc::timespec,
    wait: impl FnOnce(*const libc::timespec) -> T,
    ran_out: impl FnOnce(T) -> bool,
) -> T {
    // SAFETY: what the caller promises.
    let Some(at) = (unsafe { time::read(until) }).map(|at| at.as_nanos() as u64) else { return wait(until) };
    let id = id(at);
    let Some(ahead) = clock::until(id, at) else { return wait(until) };
    let result = wait(&clock::on_host(id, ahead));
    if ran_out(result) {
        quietly(|| clock::slept(ahead));
        result
    } else {
        waited(result)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pthread_cond_timedwait(
    condition: *mut c_void,
    mutex: *mut c_void,
    until: *const libc::timespec,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let wait = |until| real::cond_timedwait(condition, mutex, until);
        ending(clock::guess, until, wait, |result| result == libc::ETIMEDOUT)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pthread_cond_clockwait(
    condition: *mut c_void,
    mutex: *mut c_void,
    id: libc::clockid_t,
    until: *const libc::timespec,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let wait = |until| real::cond_clockwait(condition, mutex, id, until);
        ending(|_| id, until, wait, |result| result == libc::ETIMEDOUT)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn sem_timedwait(semaphore: *mut c_void, until: *const libc::timespec) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let wait = |until| real::sem_timedwait(semaphore, until);
        ending(|_| libc::CLOCK_REALTIME, until, wait, |result| result < 0 && super::errno() == libc::ETIMEDOUT)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn sem_clockwait(
    semaphore: *mut c_void,
    id: libc::clockid_t,
    until: *const libc::timespec,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let wait = |until| real::sem_clockwait(semaphore, id, until);
        ending(|_| id, until, wait, |result| result < 0 && super::errno() == libc::ETIMEDOUT)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn poll(files: *mut libc::pollfd, count: libc::nfds_t, ms: c_int) -> c_int {
    let time = Duration::from_millis(u64::try_from(ms).unwrap_or(0));
    if count == 0 && ms >= 0 && clock::slept(time) {
        return 0;
    }
    // SAFETY: the program keeps the contract of the C library's function.
    let ready = unsafe { real::poll(files, count, ms) };
    if ready == 0 && ms > 0 {
        quietly(|| clock::slept(time));
    }
    ready
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn select(
    count: c_int,
    reads: *mut c_void,
    writes: *mut c_void,
    errors: *mut c_void,
    time: *mut libc::timeval,
) -> c_int {
    // SAFETY: null, or the program promises a time there.
    let asked = unsafe { time.as_ref() }
        .map(|time| Duration::from_secs(time.tv_sec.max(0) as u64) + Duration::from_micros(time.tv_usec.max(0) as u64));
    if reads.is_null() && writes.is_null() && errors.is_null() && asked.is_some_and(clock::slept) {
        return 0;
    }
    // SAFETY: the program keeps the contract of the C library's function.
    let ready = unsafe { real::select(count, reads, writes, errors, time) };
    if let Some(asked) = asked.filter(|_| ready == 0) {
        quietly(|| clock::slept(asked));
    }
    ready
}

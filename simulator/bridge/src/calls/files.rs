//! Opening, closing and duplicating file descriptors.

use std::ffi::{CStr, c_char, c_int, c_long, c_uint};

use super::{answered, real};
use crate::errno::Errno;
use crate::{report, state};

/// Whether a program opens the device.
///
/// # Safety
///
/// `path` is null or a C string, as the program promised to the C library.
unsafe fn is_device(path: *const c_char) -> bool {
    // SAFETY: checked for null first; the rest is the caller's promise.
    !path.is_null() && state::is_device(unsafe { CStr::from_ptr(path) }.to_bytes())
}

/// Opens the device. Its file descriptor is a real one, so that nothing else gets the number; it leads to no file that
/// could be read or written, so that a process without the device gets an error and not silence.
fn open_device(flags: c_int) -> c_int {
    answered(|| {
        // SAFETY: a path with a zero byte at its end.
        let fd = unsafe { real::open(c"/dev/null".as_ptr(), libc::O_PATH | flags & libc::O_CLOEXEC, 0) };
        if fd < 0 {
            return Ok(fd);
        }
        state::open(fd).map(|()| fd).map_err(|refusal| {
            report::say(&refusal.text);
            // SAFETY: opened above and given to nobody.
            unsafe { real::close(fd) };
            refusal.errno
        })
    })
}

/// # Safety
///
/// As `open` of the C library, for this function and all that follow.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn open(path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function; so below.
    unsafe { if is_device(path) { open_device(flags) } else { real::open(path, flags, mode) } }
}

/// # Safety
///
/// As `open`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn open64(path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: as `open`.
    unsafe { open(path, flags, mode) }
}

/// # Safety
///
/// As `open`; what the compiler makes of it when it checks buffers.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __open_2(path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: as `open`.
    unsafe { open(path, flags, 0) }
}

/// # Safety
///
/// As `__open_2`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __open64_2(path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: as `open`.
    unsafe { open(path, flags, 0) }
}

/// # Safety
///
/// As `openat` of the C library. The device's path is absolute, so the folder does not matter for it.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn openat(folder: c_int, path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: as `open`.
    unsafe { if is_device(path) { open_device(flags) } else { real::openat(folder, path, flags, mode) } }
}

/// # Safety
///
/// As `openat`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn openat64(folder: c_int, path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: as `open`.
    unsafe { openat(folder, path, flags, mode) }
}

/// # Safety
///
/// As `openat`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __openat_2(folder: c_int, path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: as `open`.
    unsafe { openat(folder, path, flags, 0) }
}

/// # Safety
///
/// As `openat`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __openat64_2(folder: c_int, path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: as `open`.
    unsafe { openat(folder, path, flags, 0) }
}

/// # Safety
///
/// As `close` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn close(fd: c_int) -> c_int {
    if state::is_ours(fd) {
        answered(|| {
            state::close(fd);
            Ok(0)
        });
    }
    // SAFETY: as `open`.
    unsafe { real::close(fd) }
}

/// Books a duplicate that the C library made.
fn duplicated(old: c_int, new: c_int) -> c_int {
    if new >= 0 && new != old && state::is_ours(old) {
        answered(|| {
            state::duplicate(old, new);
            Ok(0)
        });
    }
    new
}

/// What was at the number before is closed by `dup2` and `dup3`.
fn displaced(old: c_int, new: c_int) {
    if new != old && state::is_ours(new) {
        answered(|| {
            state::close(new);
            Ok::<c_int, Errno>(0)
        });
    }
}

/// # Safety
///
/// As `dup` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn dup(fd: c_int) -> c_int {
    // SAFETY: as `open`.
    duplicated(fd, unsafe { real::dup(fd) })
}

/// # Safety
///
/// As `dup2` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn dup2(old: c_int, new: c_int) -> c_int {
    displaced(old, new);
    // SAFETY: as `open`.
    duplicated(old, unsafe { real::dup2(old, new) })
}

/// # Safety
///
/// As `dup3` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn dup3(old: c_int, new: c_int, flags: c_int) -> c_int {
    displaced(old, new);
    // SAFETY: as `open`.
    duplicated(old, unsafe { real::dup3(old, new, flags) })
}

/// # Safety
///
/// As `fcntl` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fcntl(fd: c_int, command: c_int, argument: c_long) -> c_int {
    // SAFETY: as `open`.
    let result = unsafe { real::fcntl(fd, command, argument) };
    if matches!(command, libc::F_DUPFD | libc::F_DUPFD_CLOEXEC) { duplicated(fd, result) } else { result }
}

/// # Safety
///
/// As `fcntl`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fcntl64(fd: c_int, command: c_int, argument: c_long) -> c_int {
    // SAFETY: as `open`.
    unsafe { fcntl(fd, command, argument) }
}

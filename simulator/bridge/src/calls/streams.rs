//! Streams of the C library do not reach the device: they read and write behind its own functions. The program is told.

use std::ffi::{c_char, c_int};
use std::ptr;

use super::links::{is_device, leads_to_device};
use super::{errno, quietly, real, set_errno};
use crate::{client, found};

/// Refuses, and says why.
fn refused(name: &str) -> *mut libc::FILE {
    quietly(|| {
        let device = found::device().map(|path| path.display().to_string()).unwrap_or_default();
        let text = format!("{name} on {device}: streams of the C library are not carried; open it with open");
        eprintln!("bridge: {text}");
        client::tell(text);
    });
    set_errno(libc::EOPNOTSUPP);
    ptr::null_mut()
}

/// # Safety
///
/// As `fopen`.
unsafe fn stream(name: &str, path: *const c_char, real: impl FnOnce() -> *mut libc::FILE) -> *mut libc::FILE {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        if is_device(libc::AT_FDCWD, path) {
            return refused(name);
        }
        let stream = real();
        if stream.is_null() && errno() == libc::ENOENT && leads_to_device(libc::AT_FDCWD, path) {
            return refused(name);
        }
        stream
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fopen(path: *const c_char, mode: *const c_char) -> *mut libc::FILE {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { stream("fopen", path, || real::fopen(path, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fopen64(path: *const c_char, mode: *const c_char) -> *mut libc::FILE {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { stream("fopen", path, || real::fopen(path, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn freopen(
    path: *const c_char,
    mode: *const c_char,
    old: *mut libc::FILE,
) -> *mut libc::FILE {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { stream("freopen", path, || real::freopen(path, mode, old)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn freopen64(
    path: *const c_char,
    mode: *const c_char,
    old: *mut libc::FILE,
) -> *mut libc::FILE {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { stream("freopen", path, || real::freopen(path, mode, old)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fdopen(fd: c_int, mode: *const c_char) -> *mut libc::FILE {
    if client::is_ours(fd) {
        return refused("fdopen");
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::fdopen(fd, mode) }
}

//! Whether a path of the program leads to the device.

use std::ffi::{CStr, OsStr, c_char, c_int};
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use super::quietly;
use crate::{found, path};

/// A path as the program gave it; `None` for a null pointer.
///
/// # Safety
///
/// `path` is null or a C string.
unsafe fn given<'p>(path: *const c_char) -> Option<&'p Path> {
    // SAFETY: checked for null first; the rest is the caller's promise.
    (!path.is_null()).then(|| Path::new(OsStr::from_bytes(unsafe { CStr::from_ptr(path) }.to_bytes())))
}

/// The folder at which a relative path begins.
fn folder(fd: c_int) -> Option<PathBuf> {
    if fd == libc::AT_FDCWD {
        std::env::current_dir().ok()
    } else {
        std::fs::read_link(format!("/proc/self/fd/{fd}")).ok()
    }
}

/// Whether a path is the device's, as it is written.
///
/// # Safety
///
/// `path` is null or a C string, as the program promised to the C library; so below.
pub(super) unsafe fn is_device(at: c_int, path: *const c_char) -> bool {
    // SAFETY: what the caller promises.
    let Some((device, path)) = found::device().zip(unsafe { given(path) }) else { return false };
    path::names(device, path, || quietly(|| folder(at)))
}

/// Whether a path leads to the device by links. To be asked where the kernel found nothing, or a device of its own.
///
/// # Safety
///
/// As `is_device`.
pub(super) unsafe fn leads_to_device(at: c_int, path: *const c_char) -> bool {
    // SAFETY: what the caller promises.
    let Some((device, path)) = found::device().zip(unsafe { given(path) }) else { return false };
    quietly(|| path::leads_to(device, path, || folder(at)))
}

//! What the device looks like from outside: a character device of the kernel's I2C layer.

use std::ffi::{c_char, c_int, c_uint};
use std::os::fd::BorrowedFd;

use super::links::{is_device, leads_to_device};
use super::{answered, errno, real};
use crate::{Errno, client, found};

/// Major number of I2C buses, as Documentation/admin-guide/devices.txt of the kernel lists it.
const MAJOR: u32 = 89;

/// Minor number: that of the path's end.
fn minor() -> u32 {
    let path = found::device().map(|path| path.to_string_lossy().into_owned()).unwrap_or_default();
    let digits: String = path.chars().rev().take_while(char::is_ascii_digit).collect();
    digits.chars().rev().collect::<String>().parse().unwrap_or(0)
}

/// Whether an open file is a bus of the host.
pub(super) fn is_bus(fd: c_int) -> bool {
    // SAFETY: opened by the caller of this function, and still open.
    let found = rustix::fs::fstat(unsafe { BorrowedFd::borrow_raw(fd) });
    found.is_ok_and(|found| found.st_mode & libc::S_IFMT == libc::S_IFCHR && rustix::fs::major(found.st_rdev) == MAJOR)
}

/// # Safety
///
/// `into` is what the program gave to a function that fills it.
unsafe fn fill(into: *mut libc::stat) -> c_int {
    answered(|| {
        if into.is_null() {
            return Err(Errno(libc::EFAULT));
        }
        // SAFETY: not null, and the program promises the room; all zeros are a valid one.
        unsafe {
            into.write_bytes(0, 1);
            (*into).st_mode = libc::S_IFCHR | 0o660;
            (*into).st_nlink = 1;
            (*into).st_rdev = libc::makedev(MAJOR, minor());
            (*into).st_blksize = 4096;
        }
        Ok(0)
    })
}

/// The status of a path: the device's, or what `real` says. A link counts where links are followed.
///
/// # Safety
///
/// As `stat`.
unsafe fn path_status(
    at: c_int,
    path: *const c_char,
    follow: bool,
    into: *mut libc::stat,
    real: impl FnOnce() -> c_int,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        if is_device(at, path) {
            return fill(into);
        }
        let result = real();
        if result < 0 && follow && errno() == libc::ENOENT && leads_to_device(at, path) { fill(into) } else { result }
    }
}

/// # Safety
///
/// As `access`.
unsafe fn path_access(at: c_int, path: *const c_char, mode: c_int, real: impl FnOnce() -> c_int) -> c_int {
    let ours = || answered(|| if mode & libc::X_OK == 0 { Ok(0) } else { Err(Errno(libc::EACCES)) });
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        if is_device(at, path) {
            return ours();
        }
        let result = real();
        if result < 0 && errno() == libc::ENOENT && leads_to_device(at, path) { ours() } else { result }
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn stat(path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, true, into, || real::stat(path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn stat64(path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, true, into, || real::stat(path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn lstat(path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, false, into, || real::lstat(path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn lstat64(path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, false, into, || real::lstat(path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __xstat(version: c_int, path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, true, into, || real::old_stat(version, path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __xstat64(version: c_int, path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, true, into, || real::old_stat(version, path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __lxstat(version: c_int, path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, false, into, || real::old_lstat(version, path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __lxstat64(version: c_int, path: *const c_char, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_status(libc::AT_FDCWD, path, false, into, || real::old_lstat(version, path, into)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fstat(fd: c_int, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { if client::is_ours(fd) { fill(into) } else { real::fstat(fd, into) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fstat64(fd: c_int, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { if client::is_ours(fd) { fill(into) } else { real::fstat(fd, into) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __fxstat(version: c_int, fd: c_int, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { if client::is_ours(fd) { fill(into) } else { real::old_fstat(version, fd, into) } }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __fxstat64(version: c_int, fd: c_int, into: *mut libc::stat) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { if client::is_ours(fd) { fill(into) } else { real::old_fstat(version, fd, into) } }
}

/// Whether a call asks about an open file of ours: by its number and an empty path.
///
/// # Safety
///
/// `path` is null or a C string.
unsafe fn by_number(fd: c_int, path: *const c_char, flags: c_int) -> bool {
    // SAFETY: what the caller promises.
    flags & libc::AT_EMPTY_PATH != 0 && client::is_ours(fd) && (path.is_null() || unsafe { *path == 0 })
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fstatat(
    folder: c_int,
    path: *const c_char,
    into: *mut libc::stat,
    flags: c_int,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        if by_number(folder, path, flags) {
            return fill(into);
        }
        let follow = flags & libc::AT_SYMLINK_NOFOLLOW == 0;
        path_status(folder, path, follow, into, || real::fstatat(folder, path, into, flags))
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fstatat64(
    folder: c_int,
    path: *const c_char,
    into: *mut libc::stat,
    flags: c_int,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        if by_number(folder, path, flags) {
            return fill(into);
        }
        let follow = flags & libc::AT_SYMLINK_NOFOLLOW == 0;
        path_status(folder, path, follow, into, || real::fstatat(folder, path, into, flags))
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn statx(
    folder: c_int,
    path: *const c_char,
    flags: c_int,
    mask: c_uint,
    into: *mut libc::statx,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        let mut plain: libc::stat = std::mem::zeroed();
        let ours = if by_number(folder, path, flags) || is_device(folder, path) {
            true
        } else {
            let result = real::statx(folder, path, flags, mask, into);
            let follow = flags & libc::AT_SYMLINK_NOFOLLOW == 0;
            if result == 0 || !follow || errno() != libc::ENOENT || !leads_to_device(folder, path) {
                return result;
            }
            true
        };
        if ours && !into.is_null() && fill(&mut plain) == 0 {
            into.write_bytes(0, 1);
            (*into).stx_mask = libc::STATX_TYPE | libc::STATX_MODE | libc::STATX_NLINK;
            (*into).stx_mode = plain.st_mode as u16;
            (*into).stx_nlink = 1;
            (*into).stx_blksize = 4096;
            (*into).stx_rdev_major = MAJOR;
            (*into).stx_rdev_minor = minor();
            return 0;
        }
        answered(|| Err(Errno(libc::EFAULT)))
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn access(path: *const c_char, mode: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_access(libc::AT_FDCWD, path, mode, || real::access(path, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn euidaccess(path: *const c_char, mode: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_access(libc::AT_FDCWD, path, mode, || real::access(path, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn eaccess(path: *const c_char, mode: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_access(libc::AT_FDCWD, path, mode, || real::access(path, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn faccessat(folder: c_int, path: *const c_char, mode: c_int, flags: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { path_access(folder, path, mode, || real::faccessat(folder, path, mode, flags)) }
}

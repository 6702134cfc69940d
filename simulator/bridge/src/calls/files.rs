//! Opening, reading and writing.

use std::ffi::{c_char, c_int, c_uint, c_ulong, c_void};

use pagewise_session::protocol::Ask;

use super::links::{is_device, leads_to_device};
use super::{answered, errno, quietly, real, status};
use crate::{client, found, ioctl};

/// # Safety
///
/// As `openat`; `real` opens the same path.
unsafe fn open_any(at: c_int, path: *const c_char, flags: c_int, real: impl FnOnce() -> c_int) -> c_int {
    let ours = || answered(|| client::open(flags));
    // SAFETY: the program keeps the contract of the C library's function; so below.
    if unsafe { is_device(at, path) } {
        return ours();
    }
    let fd = real();
    // A link to the device: it leads nowhere, or to a bus of the host that nobody meant.
    let suspicious =
        if fd < 0 { errno() == libc::ENOENT } else { found::device().is_some() && quietly(|| status::is_bus(fd)) };
    // SAFETY: as above.
    if suspicious && flags & libc::O_NOFOLLOW == 0 && unsafe { leads_to_device(at, path) } {
        if fd >= 0 {
            // SAFETY: opened above and given to nobody.
            unsafe { real::close(fd) };
        }
        return ours();
    }
    fd
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn open(path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(libc::AT_FDCWD, path, flags, || real::open(path, flags, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn open64(path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(libc::AT_FDCWD, path, flags, || real::open(path, flags, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __open_2(path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(libc::AT_FDCWD, path, flags, || real::open(path, flags, 0)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __open64_2(path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(libc::AT_FDCWD, path, flags, || real::open(path, flags, 0)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn openat(folder: c_int, path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(folder, path, flags, || real::openat(folder, path, flags, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn openat64(folder: c_int, path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(folder, path, flags, || real::openat(folder, path, flags, mode)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __openat_2(folder: c_int, path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(folder, path, flags, || real::openat(folder, path, flags, 0)) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __openat64_2(folder: c_int, path: *const c_char, flags: c_int) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { open_any(folder, path, flags, || real::openat(folder, path, flags, 0)) }
}

/// When the device is closed, memory is in its image.
///
/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn close(fd: c_int) -> c_int {
    if client::is_ours(fd) {
        // What went wrong is in the report; `close` has nothing to say about it.
        quietly(|| _ = client::ask(fd, Ask::Store));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::close(fd) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn ioctl(fd: c_int, request: c_ulong, argument: *mut c_void) -> c_int {
    if client::is_ours(fd) {
        return answered(|| ioctl::request(fd, request, argument));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::ioctl(fd, request, argument) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn read(fd: c_int, bytes: *mut c_void, len: usize) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::read(fd, bytes, len) }
}

// A buffer that is too small is for the C library to refuse.
/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __read_chk(fd: c_int, bytes: *mut c_void, len: usize, room: usize) -> isize {
    if client::is_ours(fd) && len <= room {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::read_checked(fd, bytes, len, room) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn write(fd: c_int, bytes: *const c_void, len: usize) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::write(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::write(fd, bytes, len) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn readv(fd: c_int, parts: *const libc::iovec, count: c_int) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::read(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::readv(fd, parts, count) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn writev(fd: c_int, parts: *const libc::iovec, count: c_int) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::write(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::writev(fd, parts, count) }
}

// A device without a position: where to read is not looked at.
/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pread(fd: c_int, bytes: *mut c_void, len: usize, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pread(fd, bytes, len, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pread64(fd: c_int, bytes: *mut c_void, len: usize, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pread(fd, bytes, len, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __pread_chk(fd: c_int, bytes: *mut c_void, len: usize, at: i64, room: usize) -> isize {
    if client::is_ours(fd) && len <= room {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pread_checked(fd, bytes, len, at, room) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __pread64_chk(
    fd: c_int,
    bytes: *mut c_void,
    len: usize,
    at: i64,
    room: usize,
) -> isize {
    if client::is_ours(fd) && len <= room {
        return answered(|| ioctl::read(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pread_checked(fd, bytes, len, at, room) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pwrite(fd: c_int, bytes: *const c_void, len: usize, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::write(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pwrite(fd, bytes, len, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pwrite64(fd: c_int, bytes: *const c_void, len: usize, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::write(fd, bytes.cast(), len));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pwrite(fd, bytes, len, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn preadv(fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::read(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::preadv(fd, parts, count, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn preadv64(fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::read(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::preadv(fd, parts, count, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pwritev(fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::write(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pwritev(fd, parts, count, at) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn pwritev64(fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize {
    if client::is_ours(fd) {
        return answered(|| ioctl::each(parts, count, |place, len| ioctl::write(fd, place, len)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::pwritev(fd, parts, count, at) }
}

// On the device: memory goes into the images.
/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fsync(fd: c_int) -> c_int {
    if client::is_ours(fd) {
        return answered(|| client::ask(fd, Ask::Store).map(|_| 0));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::fsync(fd) }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fdatasync(fd: c_int) -> c_int {
    if client::is_ours(fd) {
        return answered(|| client::ask(fd, Ask::Store).map(|_| 0));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::fdatasync(fd) }
}

// The kernel's device cannot be waited for: it is always ready.
/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn epoll_ctl(set: c_int, what: c_int, fd: c_int, event: *mut libc::epoll_event) -> c_int {
    if client::is_ours(fd) {
        return answered(|| Err(crate::Errno(libc::EPERM)));
    }
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe { real::epoll_ctl(set, what, fd, event) }
}

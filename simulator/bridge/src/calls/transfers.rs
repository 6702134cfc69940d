//! Reading, writing and requests.

use std::ffi::{c_int, c_ulong, c_void};

use super::{answered, real};
use crate::messages::{Kind, Message};
use crate::{ioctl, memory, state};

/// The kernel moves at most so many bytes in one `read` or `write` on an I2C device.
const LEN_MAX: usize = 8192;

/// # Safety
///
/// As `ioctl` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn ioctl(fd: c_int, request: c_ulong, argument: *mut c_void) -> c_int {
    // SAFETY: the program keeps the contract of this request; so for the C library's function.
    unsafe {
        if state::is_ours(fd) {
            answered(|| ioctl::request(fd, request, argument))
        } else {
            real::ioctl(fd, request, argument)
        }
    }
}

/// # Safety
///
/// `bytes` points to `len` writable bytes.
unsafe fn read_device(fd: c_int, bytes: *mut c_void, len: usize) -> isize {
    answered(|| {
        let len = len.min(LEN_MAX);
        let done = ioctl::message(fd, |address| Message::read(address, len))?;
        if let Kind::Read(read) = &done.kind {
            // SAFETY: what the caller promises.
            unsafe { memory::put(bytes.cast(), read) }?;
        }
        Ok(len as isize)
    })
}

/// # Safety
///
/// As `read` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn read(fd: c_int, bytes: *mut c_void, len: usize) -> isize {
    // SAFETY: the program keeps the contract of the C library's function; so below.
    unsafe { if state::is_ours(fd) { read_device(fd, bytes, len) } else { real::read(fd, bytes, len) } }
}

/// # Safety
///
/// As `read`; what the compiler makes of it when it checks buffers.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn __read_chk(fd: c_int, bytes: *mut c_void, len: usize, room: usize) -> isize {
    // SAFETY: as `read`; a buffer that is too small is for the C library to refuse.
    unsafe {
        if state::is_ours(fd) && len <= room {
            read_device(fd, bytes, len)
        } else {
            real::read_checked(fd, bytes, len, room)
        }
    }
}

/// # Safety
///
/// As `write` of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn write(fd: c_int, bytes: *const c_void, len: usize) -> isize {
    if !state::is_ours(fd) {
        // SAFETY: as `read`.
        return unsafe { real::write(fd, bytes, len) };
    }
    answered(|| {
        let len = len.min(LEN_MAX);
        // SAFETY: as `read`.
        let bytes = unsafe { memory::bytes(bytes.cast(), len) }?;
        ioctl::message(fd, |address| Message::write(address, bytes))?;
        Ok(len as isize)
    })
}

/// # Safety
///
/// As `fsync` of the C library. On the device: memory goes into the images.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fsync(fd: c_int) -> c_int {
    if state::is_ours(fd) {
        return answered(|| state::store_now().map(|()| 0));
    }
    // SAFETY: as `read`.
    unsafe { real::fsync(fd) }
}

/// # Safety
///
/// As `fsync`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn fdatasync(fd: c_int) -> c_int {
    if state::is_ours(fd) {
        return answered(|| state::store_now().map(|()| 0));
    }
    // SAFETY: as `read`.
    unsafe { real::fdatasync(fd) }
}

//! `syscall`: the same calls by their number.

use std::ffi::c_long;

use super::{files, real, time};
use crate::client;

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn syscall(
    number: c_long,
    a: c_long,
    b: c_long,
    c: c_long,
    d: c_long,
    e: c_long,
    f: c_long,
) -> c_long {
    let fd = a as i32;
    // SAFETY: the program keeps the contract of the system call.
    unsafe {
        match number {
            libc::SYS_openat => files::openat(fd, b as _, c as _, d as _).into(),
            libc::SYS_read if client::is_ours(fd) => files::read(fd, b as _, c as _) as c_long,
            libc::SYS_write if client::is_ours(fd) => files::write(fd, b as _, c as _) as c_long,
            libc::SYS_ioctl if client::is_ours(fd) => files::ioctl(fd, b as _, c as _).into(),
            libc::SYS_nanosleep => time::nanosleep(a as _, b as _).into(),
            _ => real::syscall(number, a, b, c, d, e, f),
        }
    }
}

//! The functions that stand before those of the C library.
//!
//! `open`, `ioctl` and `fcntl` are variadic in C. Here they take their last argument as a fixed one: on the Linux ABIs of
//! x86-64, AArch64 and RISC-V it travels in the same register, and where the program gave none, the value is only handed
//! on to the C library, which does not look at it either.

#[cfg(not(test))]
mod ends;
#[cfg(not(test))]
mod files;
#[cfg(not(test))]
mod real;
#[cfg(not(test))]
mod time;
#[cfg(not(test))]
mod transfers;

#[cfg(not(test))]
use std::ffi::c_int;
#[cfg(not(test))]
use std::panic::{AssertUnwindSafe, catch_unwind};

#[cfg(not(test))]
use crate::errno::Errno;

/// The C form of a result: -1 and `errno` for an error. A panic is an input/output error.
#[cfg(not(test))]
fn answered<T: From<i8>>(body: impl FnOnce() -> Result<T, Errno>) -> T {
    let result = catch_unwind(AssertUnwindSafe(body)).unwrap_or(Err(Errno(libc::EIO)));
    result.unwrap_or_else(|Errno(number)| {
        set_errno(number);
        T::from(-1)
    })
}

#[cfg(not(test))]
fn set_errno(number: c_int) {
    // SAFETY: the C library gives each thread a valid place.
    unsafe { *libc::__errno_location() = number };
}

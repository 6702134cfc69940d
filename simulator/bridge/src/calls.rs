//! The functions that stand before those of the C library.
//!
//! `open`, `ioctl`, `fcntl` and `syscall` are variadic in C. Here they take their last arguments as fixed ones: on the
//! Linux ABIs of x86-64, AArch64 and RISC-V they travel in the same places, and where the program gave none, the values are
//! only handed on to the C library, which does not look at them either.
//!
//! `dup`, `fcntl`, `fork` and their kin are left to the kernel: an open file of ours is one of its own.

#[cfg(not(test))]
mod files;
#[cfg(not(test))]
mod links;
#[cfg(not(test))]
mod programs;
#[cfg(not(test))]
mod raw;
#[cfg(not(test))]
mod real;
#[cfg(not(test))]
mod status;
#[cfg(not(test))]
mod streams;
#[cfg(not(test))]
mod time;
#[cfg(not(test))]
mod waits;

#[cfg(not(test))]
use std::ffi::c_int;
#[cfg(not(test))]
use std::panic::{AssertUnwindSafe, catch_unwind};

#[cfg(not(test))]
use crate::Errno;

/// The C form of a result: -1 and `errno` for an error. A panic is an input/output error.
#[cfg(not(test))]
fn answered<T: From<i8>>(body: impl FnOnce() -> Result<T, Errno>) -> T {
    let result = catch_unwind(AssertUnwindSafe(body)).unwrap_or(Err(Errno(libc::EIO)));
    result.unwrap_or_else(|Errno(number)| {
        set_errno(number);
        T::from(-1)
    })
}

/// `body` of ours, for which the program's `errno` stays as it is.
#[cfg(not(test))]
fn quietly<T: Default>(body: impl FnOnce() -> T) -> T {
    let before = errno();
    let result = catch_unwind(AssertUnwindSafe(body)).unwrap_or_default();
    set_errno(before);
    result
}

#[cfg(not(test))]
fn errno() -> c_int {
    // SAFETY: the C library gives each thread a valid place.
    unsafe { *libc::__errno_location() }
}

#[cfg(not(test))]
fn set_errno(number: c_int) {
    // SAFETY: as above.
    unsafe { *libc::__errno_location() = number };
}

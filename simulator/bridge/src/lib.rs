//! A preload library: unmodified Linux programs talk to simulated serial I2C EEPROMs at the device path they open.
//!
//! The bus itself is elsewhere: `pagewise` keeps it in a session outside all programs, and puts this library before each.
//! An open file of the device is a connection to the session, so the kernel itself copies, inherits and closes it; this
//! library keeps nothing that a fork, an exec or a kill could lose. `open`, `ioctl`, `read`, `write` and their kin on that
//! one path, and on the file descriptors it gave out, become requests; everything else goes on to the C library.
//!
//! - `calls` holds the functions that stand before those of the C library: the one place with unsafe code, together with
//!   `memory`, which copies between the program's memory and ours, and `page`, the clock in shared memory.
//! - `found` knows where the session is, `client` asks it and knows which file descriptors are its; `smbus` turns SMBus calls into messages; `clock` is
//!   virtual time as a program sees it; `path` tells whether a path leads to the device.
#![cfg(target_os = "linux")]
// The calls are left out of the unit tests, which would otherwise run on them.
#![cfg_attr(test, allow(dead_code))]
#![deny(unsafe_code)]
#![warn(clippy::undocumented_unsafe_blocks)]

#[allow(unsafe_code, reason = "stands before functions of the C library")]
mod calls;
#[allow(unsafe_code, reason = "asks the kernel about numbers that may be no file descriptors")]
mod client;
mod clock;
#[allow(unsafe_code, reason = "ends this process")]
mod found;
#[allow(unsafe_code, reason = "the program hands us addresses in its memory")]
mod ioctl;
#[allow(unsafe_code, reason = "the program hands us addresses in its memory")]
mod memory;
#[allow(unsafe_code, reason = "memory shared with other processes")]
mod page;
mod path;
mod smbus;

/// An error number of Linux.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Errno(i32);

//! A preload library: unmodified Linux programs talk to simulated serial I2C EEPROMs at the device path they open.
//!
//! `pagewise bridge` writes the configuration and puts this library before the program. From then on `open`, `ioctl`,
//! `read`, `write`, `close` and `fsync` on that one path, and on the file descriptors it gave out, end here; everything
//! else goes on to the C library.
//!
//! - `calls` holds the functions that stand before those of the C library: the one place with unsafe code, together with
//!   `memory`, which copies between the program's memory and ours, and `signal`.
//! - `table` knows which file descriptors are ours; `device` is the bus with its chips and clock; `messages` and `smbus`
//!   turn the kernel's requests into steps on the bus; `image` keeps memory in files; `report` tells what was seen.
#![cfg(target_os = "linux")]
// The calls are left out of the unit tests, which would otherwise run on them.
#![cfg_attr(test, allow(dead_code))]
#![deny(unsafe_code)]
#![warn(clippy::undocumented_unsafe_blocks)]

#[allow(unsafe_code, reason = "stands before functions of the C library")]
mod calls;
mod clock;
mod config;
mod device;
mod errno;
mod image;
#[allow(unsafe_code, reason = "the program hands us addresses in its memory")]
mod ioctl;
#[allow(unsafe_code, reason = "the program hands us addresses in its memory")]
mod memory;
mod messages;
mod report;
#[allow(unsafe_code, reason = "installs a signal handler")]
mod signal;
mod smbus;
#[allow(unsafe_code, reason = "the one device of the process, behind a lock")]
mod state;
mod table;

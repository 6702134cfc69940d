//! One simulated I2C bus for all processes of a run, kept outside them: whatever they do (fork, exec, threads, being
//! killed), all see one clock, one busy state, one memory and one supply, and nothing is lost with them.
//!
//! - `protocol` and `transport` are what a client needs: the preload library of the Linux door is one.
//! - With the feature `server`, `session` has the bus: it runs a program, answers it and those that it starts, stops them
//!   where the supply is lost, and tells what was seen.
#![cfg(target_os = "linux")]
#![forbid(unsafe_code)]

pub mod program;
pub mod protocol;
pub mod transport;

#[cfg(feature = "server")]
mod bus;
#[cfg(feature = "server")]
mod clock;
#[cfg(feature = "server")]
mod errno;
#[cfg(feature = "server")]
mod image;
#[cfg(feature = "server")]
mod messages;
#[cfg(feature = "server")]
pub mod plan;
#[cfg(feature = "server")]
pub mod seen;
#[cfg(feature = "server")]
mod session;

#[cfg(feature = "server")]
pub use session::{Ended, Session};

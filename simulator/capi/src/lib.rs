//! C ABI of the simulated bus with its serial I2C EEPROMs, for firmware in C that is tested on the host.
//!
//! The header is `include/pagewise_simulator.h`, made by cbindgen and kept current by a test. A rig is an opaque pointer;
//! chips come from model files, which `pagewise model PART` writes for every card. No function panics into C: a panic
//! becomes [`status::Status::Internal`], and the rig refuses everything after it.
#![warn(clippy::undocumented_unsafe_blocks)]

pub mod bus;
pub mod chips;
mod guard;
pub mod memory;
pub mod pins;
pub mod reports;
pub mod rig;
pub mod state;
pub mod status;
pub mod wire;

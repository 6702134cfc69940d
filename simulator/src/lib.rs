//! A simulated 24-series I2C EEPROM that behaves like the real one.
#![cfg_attr(not(feature = "std"), no_std)]
#![forbid(unsafe_code)]

extern crate alloc;

pub mod hazard;
pub mod model;

pub use hazard::Hazard;
pub use model::ChipModel;

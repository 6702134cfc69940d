//! A careful driver for 24-series I2C EEPROMs: no_std, no alloc, no unsafe code, no panics.
#![no_std]
#![forbid(unsafe_code)]

mod address;
#[cfg(feature = "async")]
mod asynch;
mod blocking;
mod chips;
mod choose;
mod chunk;
mod common;
mod error;
mod geometry;
#[cfg(feature = "io")]
mod io;
mod options;
pub mod plan;
mod protect;
#[cfg(feature = "records")]
pub mod records;
mod recovery;
mod region;
mod shell;
#[cfg(feature = "storage")]
mod storage;

pub use address::{Header, Location};
#[cfg(feature = "async")]
pub use asynch::AsyncEeprom;
pub use blocking::Eeprom;
pub use chips::Chips;
pub use choose::{Candidate, ChooseError, LongerHeader, choose};
pub use chunk::{Chunk, Chunks};
pub use common::CommonError;
pub use error::Error;
pub use geometry::{Geometry, GeometryError, Parameters};
#[cfg(feature = "io")]
pub use io::Cursor;
pub use options::{Config, Options, Wait};
pub use plan::{Difference, Updated};
pub use protect::{Protected, WriteProtectTiming};
pub use recovery::{RecoveryError, free_bus};
pub use region::{Irreversible, Lock, Region, RegionAccess, RegionParameters};
#[cfg(feature = "storage")]
pub use storage::FlashLike;

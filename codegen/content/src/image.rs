//! Images: what is to stand in a part, byte by byte.
//!
//! [`sparse`] holds runs of bytes at offsets, [`formats`] reads and writes them as binary, Intel HEX and S-record.
//! [`build`](mod@build) makes them from a placed [`layout`](crate::layout) and the values of each unit ([`units`]),
//! [`folder`] puts them on disk, all or none, with a manifest. [`moving`] makes them of what an old part held.

pub mod build;
pub mod checksum;
mod elsewhere;
pub mod eui;
pub mod folder;
pub mod formats;
pub mod moving;
pub mod records;
pub mod sparse;
pub mod units;

pub use elsewhere::sought;
pub use eui::Eui;
pub use formats::Form;
pub use sparse::Image;

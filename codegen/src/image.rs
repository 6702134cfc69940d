//! Images: what is to stand in a part, byte by byte.
//!
//! [`sparse`] holds runs of bytes at offsets, [`formats`] reads and writes them as binary, Intel HEX and S-record.

pub mod checksum;
pub mod eui;
pub mod formats;
pub mod sparse;

pub use eui::Eui;
pub use formats::Form;
pub use sparse::Image;

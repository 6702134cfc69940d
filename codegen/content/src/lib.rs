//! What lies in a part: layouts, images of units made from them, and dumps looked into.

#![forbid(unsafe_code)]

pub mod image;
pub mod inspect;
pub mod layout;

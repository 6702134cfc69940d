//! What lies in a part: layouts, images of units made from them, and dumps looked into.

pub mod image;
pub mod inspect;
pub mod layout;

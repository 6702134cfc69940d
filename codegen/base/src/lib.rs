//! What the crates of Pagewise share: faults that say what to do, forms that find every fault of a file at once, files
//! written whole or not at all, and texts of others made harmless for a terminal.

#![forbid(unsafe_code)]

pub mod certainty;
pub mod chain;
pub mod disk;
pub mod draft;
pub mod fault;
pub mod form;
pub mod paint;
pub mod paths;
pub mod scratch;
mod staged;
pub mod table;
pub mod words;

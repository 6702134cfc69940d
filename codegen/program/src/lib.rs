//! The program `pagewise`: commands over the crates of Pagewise, and what they share for their answers.

#![forbid(unsafe_code)]

pub mod chapters;
pub mod command;
pub mod ending;
pub mod output;
pub mod schema;

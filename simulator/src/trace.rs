//! The trace in other forms, and back.

#[cfg(feature = "json")]
pub mod json_lines;
pub(crate) mod log;
pub(crate) mod polls;
pub mod text;
#[cfg(feature = "std")]
pub mod vcd;
pub mod waves;

//! A write cycle that runs, and how long one takes.

use crate::chip::registers::Target;

/// How long write cycles take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum CycleTime {
    /// Each drawn from the seed between typical and maximum.
    #[default]
    Drawn,
    /// The model's typical value.
    Typical,
    /// The model's maximum.
    Max,
    /// This many nanoseconds (per page or per byte, as the model says).
    Exact(u64),
}

/// A running write cycle; what it programs is in the chip's second latch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cycle {
    pub(crate) starts_ns: u64,
    pub(crate) ends_ns: u64,
    /// Control byte of the write.
    pub(crate) control: u8,
    pub(crate) target: Target,
    /// A fault: it ends without changing memory.
    pub(crate) sticks: bool,
}

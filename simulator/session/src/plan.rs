//! What a session is made of.

use std::path::PathBuf;

pub use pagewise_simulator::Cut;
use pagewise_simulator::{ChipModel, Faults, Straps};
use serde::{Deserialize, Serialize};

/// One simulated bus and what happens to it.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Path at which programs find the bus, absolute.
    pub device: PathBuf,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// Only bus traffic and the programs' sleeps move the clock; else the host's clock does.
    pub virtual_time: bool,
    /// The chips.
    pub chips: Vec<Chip>,
    /// 7-bit addresses of other devices, which acknowledge everything.
    pub others: Vec<u8>,
    /// Habits of the adapter.
    pub adapter: Adapter,
    /// Faults, counted from the beginning.
    pub faults: Faults,
    /// When the supply is lost, if it is.
    pub cut: Option<Cut>,
    /// File that gets a line per transfer as it happens.
    pub trace: Option<PathBuf>,
    /// Memory goes into the images after every transfer that wrote, and not only when the bus rests.
    pub store_each_write: bool,
    /// What a cut at any moment would leave is kept for every transfer; see [`pagewise_simulator::Step`].
    pub keep_steps: bool,
}

/// One chip.
#[derive(Debug, Clone)]
pub struct Chip {
    /// What it is.
    pub model: ChipModel,
    /// Levels of its pins.
    pub straps: Straps,
    /// What it holds at first; what its image holds stands above this. Empty: erased.
    pub contents: Vec<u8>,
    /// File that keeps its memory.
    pub image: Option<PathBuf>,
}

/// What an adapter and its driver do their own way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Adapter {
    /// Error number of a missing acknowledge.
    pub nack: Nack,
    /// The longest message in bytes; longer ones are refused with EOPNOTSUPP, as the kernel does it for such adapters.
    pub longest_message: Option<u16>,
    /// Messages without bytes are refused with EOPNOTSUPP.
    pub no_empty_messages: bool,
}

/// Error number of a missing acknowledge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Nack {
    /// ENXIO for the device address, EIO for a later byte.
    #[default]
    Enxio,
    /// EREMOTEIO for both.
    Eremoteio,
    /// EIO for both.
    Eio,
}

//! What `pagewise bridge` tells the library; its `run.rs` is the other side.

use std::path::PathBuf;
use std::{env, fs};

use pagewise_simulator::{ChipModel, Level, Straps};
use serde::Deserialize;

/// Environment variable with the path of the configuration.
const VARIABLE: &str = "PAGEWISE_BRIDGE_CONFIG";

/// One simulated bus.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Config {
    /// Path that the program opens.
    pub(crate) device: String,
    pub(crate) scl_hz: u32,
    pub(crate) supply_mv: u32,
    /// WP of every chip at the supply.
    pub(crate) write_protect: bool,
    /// Only bus traffic and the program's sleeps move the clock.
    pub(crate) virtual_time: bool,
    /// Memory goes into the images after every transfer that wrote.
    pub(crate) store_each_write: bool,
    /// EREMOTEIO for a missing acknowledge.
    pub(crate) nack_is_eremoteio: bool,
    /// File that gets a line per transfer.
    pub(crate) trace: Option<PathBuf>,
    /// File that gets a line of JSON per process.
    pub(crate) reports: PathBuf,
    pub(crate) chips: Vec<ChipConfig>,
}

/// One chip.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ChipConfig {
    pub(crate) model: ChipModel,
    /// Levels of A0, A1, A2.
    pub(crate) pins: [bool; 3],
    /// File that keeps its memory.
    pub(crate) image: Option<PathBuf>,
}

impl Config {
    /// The configuration of this process; `None` when the library was preloaded without one.
    pub(crate) fn of_process() -> Result<Option<Self>, String> {
        let Some(path) = env::var_os(VARIABLE) else { return Ok(None) };
        let text = fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let config: Self = serde_json::from_str(&text).map_err(|error| format!("{}: {error}", path.display()))?;
        for chip in &config.chips {
            chip.model.check().map_err(|reason| format!("model {}: {reason}", chip.model.name))?;
        }
        Ok(Some(config))
    }

    pub(crate) fn straps(&self, chip: &ChipConfig) -> Straps {
        Straps { a: chip.pins.map(Level::from_bit), wp: Level::from_bit(self.write_protect) }
    }
}

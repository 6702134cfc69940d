//! A chip from the environment: a test binary that takes its chip here runs on every part, without being built anew.
//!
//! `pagewise trial` writes what the chip is into a folder, names it in [`VARIABLE`], and reads there what was seen.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::{ChipId, ChipModel, PowerUp, Rig, RigConfig, Straps};

/// Environment variable with the folder.
pub const VARIABLE: &str = "PAGEWISE_DOOR";
/// File in it with what the chip is, as JSON.
pub const GIVEN: &str = "chip.json";
/// File in it that gets a line of JSON for each rig.
pub const TOLD: &str = "seen.jsonl";

/// A chip and its board.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// What the chip is.
    pub model: ChipModel,
    /// Levels of its pins.
    pub straps: Straps,
    /// What it holds at first; empty: erased.
    pub contents: Vec<u8>,
    /// 7-bit addresses of other devices.
    pub others: Vec<u8>,
}

/// What was seen on one rig.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Told {
    /// Name of the thread that made the rig: in a Rust test binary, the test.
    pub name: String,
    /// Hazards: name, time in nanoseconds, text.
    pub hazards: Vec<(String, u64, String)>,
    /// Memory at the end, with write cycles over.
    pub memory: Vec<u8>,
    /// Time of the bus in nanoseconds.
    pub now_ns: u64,
    /// The transfers, a line each.
    pub transfers: String,
}

/// A rig with the chip of the environment. When it is dropped, what was seen is told.
#[derive(Debug)]
pub struct Door {
    /// The rig.
    pub rig: Rig,
    /// The chip.
    pub chip: ChipId,
    folder: PathBuf,
    name: String,
}

impl Door {
    /// The chip that the environment names; `None` if it names none.
    ///
    /// # Errors
    ///
    /// The folder that it names holds none, or one that cannot be.
    pub fn from_environment() -> io::Result<Option<Self>> {
        std::env::var_os(VARIABLE).map(|folder| Self::in_folder(Path::new(&folder))).transpose()
    }

    /// The chip of a folder.
    ///
    /// # Errors
    ///
    /// The folder holds none, or one that cannot be.
    pub fn in_folder(folder: &Path) -> io::Result<Self> {
        let given: Given = serde_json::from_slice(&fs::read(folder.join(GIVEN))?)?;
        given.model.check().map_err(|reason| io::Error::new(io::ErrorKind::InvalidData, reason))?;
        let rig = Rig::new(RigConfig { scl_hz: given.scl_hz, supply_mv: given.supply_mv, seed: given.seed });
        let contents = if given.contents.is_empty() { PowerUp::Erased } else { PowerUp::Image(given.contents) };
        let chip = rig.attach_with(given.model, given.straps, contents);
        for address in given.others {
            rig.attach_other(address, "another device");
        }
        let name = std::thread::current().name().unwrap_or_default().to_owned();
        Ok(Self { rig, chip, folder: folder.to_owned(), name })
    }

    fn tell(&self) -> io::Result<()> {
        let hazards = self.rig.finish().into_iter().map(|seen| (seen.hazard.name().to_owned(), seen.at_ns, seen.text));
        let later = self.rig.fork();
        for _ in (0..1000).take_while(|_| later.busy(self.chip)) {
            later.advance_ns(1_000_000);
        }
        let told = Told {
            name: self.name.clone(),
            hazards: hazards.collect(),
            memory: later.memory_as_read(self.chip),
            now_ns: self.rig.now_ns(),
            transfers: self.rig.transfers_text(),
        };
        let line = serde_json::to_string(&told)? + "\n";
        // One write, so that the lines of threads do not mix.
        fs::File::options().create(true).append(true).open(self.folder.join(TOLD))?.write_all(line.as_bytes())
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        // Whoever waits for it says that nothing came.
        let _ = self.tell();
    }
}

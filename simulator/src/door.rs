//! A chip from outside: a program that takes its chip here runs on every part, without being built anew.
//!
//! `pagewise trial` writes what the chip is into a folder and reads there what was seen. A test binary finds the name of the
//! folder in the environment, as [`VARIABLE`]; firmware under an emulator finds it on its command line (semihosting), as the
//! word `PAGEWISE_DOOR=FOLDER`, and reaches the files there as its [`Files`] say.

use alloc::boxed::Box;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use serde::{Deserialize, Serialize};

use crate::course::Cut;
use crate::event::Event;
use crate::{ChipId, ChipModel, PowerUp, Rig, RigConfig, Straps};

/// Environment variable with the folder, and name of the word of a command line that says it.
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
    #[serde(with = "base64")]
    pub contents: Vec<u8>,
    /// 7-bit addresses of other devices.
    pub others: Vec<u8>,
    /// Every event is to be told.
    pub events: bool,
    /// What rigs went through before, in this order.
    pub before: Vec<Before>,
}

/// What a rig went through before its supply was lost. Its clock goes on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Before {
    /// Name of the rig.
    pub name: String,
    /// What happened on it, at least up to then.
    pub events: Vec<Event>,
    /// How it was lost.
    pub cut: Cut,
}

/// What was seen on one rig.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Told {
    /// Name of the thread that made the rig: in a Rust test binary, the test. Empty without threads.
    pub name: String,
    /// Hazards: name, time in nanoseconds, text.
    pub hazards: Vec<(String, u64, String)>,
    /// Memory at the end, with write cycles over.
    #[serde(with = "base64")]
    pub memory: Vec<u8>,
    /// Time of the bus in nanoseconds.
    pub now_ns: u64,
    /// The transfers, a line each.
    pub transfers: String,
    /// The events, if they were asked for.
    pub events: Vec<Event>,
}

/// Bytes as text.
mod base64 {
    use alloc::string::String;
    use alloc::vec::Vec;

    use data_encoding::BASE64;
    use serde::de::{Deserialize, Deserializer, Error};
    use serde::ser::Serializer;

    pub(super) fn serialize<S: Serializer>(bytes: &[u8], into: S) -> Result<S::Ok, S::Error> {
        into.serialize_str(&BASE64.encode(bytes))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<u8>, D::Error> {
        BASE64.decode(String::deserialize(from)?.as_bytes()).map_err(D::Error::custom)
    }
}

/// Why there is no chip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused(String);

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl core::error::Error for Refused {}

impl Given {
    /// A rig with the chip, as the one of this name finds it.
    ///
    /// # Errors
    ///
    /// A model that contradicts itself, or events that cannot be.
    pub fn rig(&self, name: &str) -> Result<(Rig, ChipId), Refused> {
        self.model.check().map_err(|reason| Refused(reason.to_string()))?;
        let rig = Rig::new(RigConfig { scl_hz: self.scl_hz, supply_mv: self.supply_mv, seed: self.seed });
        let contents = if self.contents.is_empty() { PowerUp::Erased } else { PowerUp::Image(self.contents.clone()) };
        let chip = rig.attach_with(self.model.clone(), self.straps, contents);
        for address in &self.others {
            rig.attach_other(*address, "another device");
        }
        for before in self.before.iter().filter(|before| before.name == name) {
            rig.replay_to_cut(&before.events, before.cut).map_err(|bad| Refused(bad.to_string()))?;
            rig.forget();
        }
        Ok((rig, chip))
    }
}

/// The files of the folder, as a program reaches them.
pub trait Files: fmt::Debug {
    /// The bytes of a file.
    ///
    /// # Errors
    ///
    /// Why it cannot be read.
    fn read(&self, path: &str) -> Result<Vec<u8>, String>;

    /// Puts text at the end of a file, which need not be there yet; in one write, so that the lines of several do not mix.
    ///
    /// # Errors
    ///
    /// Why it cannot be written.
    fn append(&self, path: &str, text: &str) -> Result<(), String>;
}

/// The files of this machine.
#[cfg(feature = "std")]
#[derive(Debug)]
struct Host;

#[cfg(feature = "std")]
impl Files for Host {
    fn read(&self, path: &str) -> Result<Vec<u8>, String> {
        std::fs::read(path).map_err(|error| error.to_string())
    }

    fn append(&self, path: &str, text: &str) -> Result<(), String> {
        use std::io::Write as _;
        let file = std::fs::File::options().create(true).append(true).open(path);
        file.and_then(|mut file| file.write_all(text.as_bytes())).map_err(|error| error.to_string())
    }
}

/// A rig with the chip from outside. When it is dropped, what was seen is told.
#[derive(Debug)]
pub struct Door {
    /// The rig.
    pub rig: Rig,
    /// The chip.
    pub chip: ChipId,
    files: Box<dyn Files>,
    folder: String,
    name: String,
    events: bool,
}

impl Door {
    /// The chip that the environment names; `None` if it names none.
    ///
    /// # Errors
    ///
    /// The folder that it names holds none, or one that cannot be.
    #[cfg(feature = "std")]
    pub fn from_environment() -> Result<Option<Self>, Refused> {
        let Some(folder) = std::env::var_os(VARIABLE) else { return Ok(None) };
        let thread = std::thread::current();
        Self::in_folder(&folder.to_string_lossy(), thread.name().unwrap_or_default(), Host).map(Some)
    }

    /// The chip that a command line names, by its words; `None` if none of them names one.
    ///
    /// # Errors
    ///
    /// The folder that it names holds none, or one that cannot be.
    pub fn from_command_line<'w>(
        words: impl IntoIterator<Item = &'w str>,
        files: impl Files + 'static,
    ) -> Result<Option<Self>, Refused> {
        let named = |word: &'w str| word.strip_prefix(VARIABLE)?.strip_prefix('=');
        let folder = words.into_iter().find_map(named);
        folder.map(|folder| Self::in_folder(folder, "", files)).transpose()
    }

    fn in_folder(folder: &str, name: &str, files: impl Files + 'static) -> Result<Self, Refused> {
        let path = alloc::format!("{folder}/{GIVEN}");
        let refused = |reason: String| Refused(alloc::format!("{path}: {reason}"));
        let bytes = files.read(&path).map_err(refused)?;
        let given: Given = serde_json::from_slice(&bytes).map_err(|error| refused(error.to_string()))?;
        let (rig, chip) = given.rig(name).map_err(|Refused(reason)| refused(reason))?;
        let (folder, name) = (folder.to_string(), name.to_string());
        Ok(Self { rig, chip, files: Box::new(files), folder, name, events: given.events })
    }

    fn tell(&self) -> Result<(), String> {
        let hazards = self.rig.finish().into_iter().map(|seen| (seen.hazard.name().to_string(), seen.at_ns, seen.text));
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
            events: if self.events { self.rig.trace() } else { Vec::new() },
        };
        let line = serde_json::to_string(&told).map_err(|error| error.to_string())? + "\n";
        self.files.append(&alloc::format!("{}/{TOLD}", self.folder), &line)
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        // Whoever waits for it says that nothing came.
        let _ = self.tell();
    }
}

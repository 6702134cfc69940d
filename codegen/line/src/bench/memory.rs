//! The file that keeps a simulated chip's memory between commands: its bytes and nothing else.
//!
//! A lockable region lies beside it in `FILE.region`, as JSON. The file belongs to one process at a time.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use pagewise_base::disk;
use pagewise_base::fault::Fault;

/// An open and locked memory file.
#[derive(Debug)]
pub(super) struct Memory {
    file: File,
    stored: Vec<u8>,
    path: PathBuf,
    beside: PathBuf,
    region: Option<RegionState>,
}

/// A lockable region.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RegionState {
    /// Its contents.
    pub(super) bytes: Vec<u8>,
    /// It is locked for ever.
    pub(super) locked: bool,
}

impl Memory {
    /// Opens a memory file; one that does not exist is made, erased.
    pub(super) fn take(path: &Path, capacity: u32) -> Result<Self, Fault> {
        let shown = path.display().to_string();
        let cannot = |error: std::io::Error| {
            Fault::of_file(&shown, format!("the memory file cannot be used: {error}"), "check the folder")
        };
        disk::make_new(path, &vec![0xFF; capacity as usize]).map_err(cannot)?;
        let mut file = OpenOptions::new().read(true).write(true).open(path).map_err(cannot)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(Fault::of_file(&shown, "the memory file is in use by another process", "wait for its end"));
            }
            Err(TryLockError::Error(error)) => return Err(cannot(error)),
        }
        let mut stored = Vec::new();
        file.read_to_end(&mut stored).map_err(cannot)?;
        if stored.len() as u64 != u64::from(capacity) {
            let reason = format!("the memory file has {} bytes, the chip has {capacity}", stored.len());
            return Err(Fault::of_file(&shown, reason, "name the memory file of such a chip, or a new one"));
        }
        let mut beside = path.as_os_str().to_owned();
        beside.push(".region");
        let beside = PathBuf::from(beside);
        let region = match fs::read(&beside) {
            Ok(text) => Some(serde_json::from_slice(&text).map_err(|error| {
                Fault::of_file(&beside.display().to_string(), format!("no region of a chip: {error}"), "remove it")
            })?),
            Err(_) => None,
        };
        Ok(Self { file, stored, path: path.to_owned(), beside, region })
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn stored(&self) -> &[u8] {
        &self.stored
    }

    pub(super) const fn region(&self) -> Option<&RegionState> {
        self.region.as_ref()
    }

    /// Makes the file hold `bytes`, writing only what differs, as the chip itself does.
    pub(super) fn store(&mut self, bytes: &[u8]) -> Result<(), String> {
        for difference in crate::difference::differences(0, bytes, &self.stored) {
            let at = difference.offset;
            let written =
                self.file.seek(SeekFrom::Start(u64::from(at))).and_then(|_| self.file.write_all(&difference.expected));
            written.map_err(|error| format!("the memory file cannot be written: {error}"))?;
            self.stored[at as usize..][..difference.expected.len()].copy_from_slice(&difference.expected);
        }
        Ok(())
    }

    pub(super) fn store_region(&mut self, state: RegionState) -> Result<(), String> {
        if self.region.as_ref() == Some(&state) {
            return Ok(());
        }
        let text = serde_json::to_string(&state).map_err(|error| error.to_string())?;
        disk::replace(&self.beside, &text).map_err(|fault| fault.to_string())?;
        self.region = Some(state);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_memory_file_is_made_erased_locked_and_kept() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("chip.bin");
        let mut memory = Memory::take(&path, 16).unwrap();
        assert!(Memory::take(&path, 16).unwrap_err().reason.contains("in use"));
        memory.store(&[7; 16]).unwrap();
        assert_eq!(fs::read(&path).unwrap(), [7; 16]);
        let state = RegionState { bytes: vec![1, 2], locked: true };
        memory.store_region(state.clone()).unwrap();
        drop(memory);
        assert_eq!(Memory::take(&path, 16).unwrap().region(), Some(&state));
        assert!(Memory::take(&path, 32).unwrap_err().reason.contains("has 16 bytes, the chip has 32"));
    }
}

//! Session files: an archive with `metadata` and the samples of the logic channels, whole or in pieces.

mod metadata;
mod pieces;

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::string::{String, ToString};
use std::vec::Vec;

use zip::ZipArchive;
use zip::result::ZipError;

use crate::recording::error::RecordingError;
use crate::recording::source::{Chosen, Sample, sample_ns};
pub(crate) use metadata::Metadata;
use pieces::Pieces;

const BUFFER: usize = 65_536;
/// No metadata is longer than this.
const METADATA_MOST: u64 = 1_048_576;

fn broken(file: &str, error: &ZipError) -> RecordingError {
    match error {
        ZipError::Io(error) if error.kind() != std::io::ErrorKind::UnexpectedEof => {
            RecordingError::unreadable(file, error)
        }
        error => RecordingError::cut_off(file, std::format!("its archive is not whole ({error})")),
    }
}

fn open(path: &Path, file: &str) -> Result<ZipArchive<File>, RecordingError> {
    let opened = File::open(path).map_err(|error| RecordingError::unreadable(file, &error))?;
    ZipArchive::new(opened).map_err(|error| broken(file, &error))
}

/// What the session file says about itself.
pub(crate) fn metadata(path: &Path, file: &str) -> Result<Metadata, RecordingError> {
    let mut archive = open(path, file)?;
    let entry = archive.by_name("metadata").map_err(|error| match error {
        ZipError::FileNotFound => {
            RecordingError::malformed(file, "archive", "it has no entry \"metadata\": it is not a session file")
        }
        error => broken(file, &error),
    })?;
    let mut text = Vec::new();
    entry.take(METADATA_MOST).read_to_end(&mut text).map_err(|error| RecordingError::unreadable(file, &error))?;
    Metadata::read(file, &String::from_utf8_lossy(&text))
}

/// The samples of a session file.
pub(crate) struct SessionSource {
    file: String,
    pieces: Pieces,
    hz: u64,
    unit: usize,
    /// Byte in the unit and mask of SCL, SDA and the supply.
    places: [(usize, u8); 3],
    has_supply: bool,
    /// The mask of all three over eight bytes, if a whole number of units fits into them.
    wide_mask: Option<u64>,
    /// Their bits in the last sample, over eight bytes.
    wide_now: u64,
    buffer: Vec<u8>,
    at: usize,
    filled: usize,
    index: u64,
    levels: Option<u8>,
    pending: Option<Sample>,
}

impl SessionSource {
    pub(crate) fn new(path: &Path, file: &str, metadata: &Metadata, chosen: Chosen) -> Result<Self, RecordingError> {
        let pieces = Pieces::find(path, file, open(path, file)?, &metadata.capture)?;
        let place = |channel: usize| {
            let bit = metadata.channels[channel].0;
            (bit / 8, 1_u8 << (bit % 8))
        };
        let unit = metadata.unit;
        let supply = chosen.supply.map_or((0, 0), place);
        let places = [place(chosen.scl), place(chosen.sda), supply];
        let wide_mask = (8 % unit == 0).then(|| {
            let mut bytes = [0_u8; 8];
            for (byte, mask) in places {
                bytes.iter_mut().skip(byte).step_by(unit).for_each(|b| *b |= mask);
            }
            u64::from_ne_bytes(bytes)
        });
        Ok(Self {
            file: file.to_string(),
            pieces,
            hz: metadata.hz,
            unit,
            places,
            has_supply: chosen.supply.is_some(),
            wide_mask,
            wide_now: 0,
            buffer: std::vec![0; BUFFER],
            at: 0,
            filled: 0,
            index: 0,
            levels: None,
            pending: None,
        })
    }

    pub(crate) fn interval_ns(&self) -> u64 {
        1_000_000_000_u64.div_ceil(self.hz)
    }

    pub(crate) fn progress(&self) -> f64 {
        self.pieces.progress()
    }

    /// SCL, SDA and the supply in bits 0 to 2.
    fn levels_at(&self, at: usize) -> u8 {
        let mut levels = 0;
        for (i, (byte, mask)) in self.places.iter().enumerate() {
            levels |= u8::from(self.buffer[at + byte] & mask != 0) << i;
        }
        levels
    }

    /// Skips samples that are equal in the chosen channels; returns whether one that differs was found.
    fn skip_equal(&mut self) -> bool {
        let Some(now) = self.levels else { return self.at + self.unit <= self.filled };
        if let Some(mask) = self.wide_mask {
            let words = self.buffer[self.at..self.filled].chunks_exact(8);
            let same = words.take_while(|word| {
                let word: [u8; 8] = (*word).try_into().unwrap_or_default();
                u64::from_ne_bytes(word) & mask == self.wide_now
            });
            let bytes = same.count() * 8;
            self.at += bytes;
            self.index += (bytes / self.unit) as u64;
        }
        while self.at + self.unit <= self.filled {
            if self.levels_at(self.at) != now {
                return true;
            }
            self.at += self.unit;
            self.index += 1;
        }
        false
    }

    /// Moves what is left to the front and reads on; returns whether there was anything.
    fn refill(&mut self) -> Result<bool, RecordingError> {
        self.buffer.copy_within(self.at..self.filled, 0);
        self.filled -= self.at;
        self.at = 0;
        let n = self.pieces.read(&mut self.buffer[self.filled..])?;
        self.filled += n;
        Ok(n > 0)
    }

    pub(crate) fn next(&mut self) -> Result<Sample, RecordingError> {
        if let Some(sample) = self.pending.take() {
            return Ok(sample);
        }
        while !self.skip_equal() {
            if !self.refill()? {
                return self.end();
            }
        }
        let before = self.levels;
        let levels = self.levels_at(self.at);
        let at_ns = sample_ns(self.index, self.hz);
        self.remember(levels);
        self.at += self.unit;
        self.index += 1;
        let lines = Sample::Lines { at_ns, scl: levels & 1 != 0, sda: levels & 2 != 0 };
        let supply = Sample::Supply { at_ns, on: levels & 4 != 0, mv: None };
        if self.has_supply && before.is_none_or(|before| (before ^ levels) & 4 != 0) {
            self.pending = Some(supply);
        }
        Ok(lines)
    }

    fn remember(&mut self, levels: u8) {
        self.levels = Some(levels);
        if let Some(mask) = self.wide_mask {
            let mut bytes = [0_u8; 8];
            for (i, byte) in bytes.iter_mut().enumerate() {
                *byte = self.buffer[self.at + i % self.unit];
            }
            self.wide_now = u64::from_ne_bytes(bytes) & mask;
        }
    }

    fn end(&self) -> Result<Sample, RecordingError> {
        if self.filled > 0 {
            let reason = std::format!("the last sample has {} bytes of {}", self.filled, self.unit);
            return Err(RecordingError::cut_off(&self.file, reason));
        }
        if self.index == 0 {
            return Err(RecordingError::cut_off(&self.file, "it holds no samples"));
        }
        Ok(Sample::End { at_ns: sample_ns(self.index, self.hz) })
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};

    use super::*;

    #[test]
    fn an_archive_that_ends_early_is_cut_off_and_a_disk_that_fails_is_not() {
        let said = |kind: ErrorKind| broken("x.sr", &ZipError::Io(Error::new(kind, "why"))).to_string();
        assert_eq!(said(ErrorKind::PermissionDenied), "x.sr: cannot be read: why");
        let cut = said(ErrorKind::UnexpectedEof);
        assert!(cut.starts_with("x.sr: cut off: its archive is not whole ("), "{cut}");
        assert_eq!(
            broken("x.sr", &ZipError::FileNotFound).to_string(),
            "x.sr: cut off: its archive is not whole (specified file not found in archive); copy or record it again"
        );
    }
}

//! The samples of a session file, one entry of its archive after the other.

use std::boxed::Box;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::string::{String, ToString};
use std::vec::Vec;

use flate2::Crc;
use flate2::read::DeflateDecoder;
use zip::{CompressionMethod, ZipArchive};

use crate::recording::error::RecordingError;

/// Where a piece lies in the file.
#[derive(Debug, Clone)]
struct Piece {
    name: String,
    start: u64,
    compressed: u64,
    size: u64,
    crc: u32,
    deflated: bool,
}

/// All pieces, read one after the other.
pub(crate) struct Pieces {
    path: PathBuf,
    file: String,
    pieces: Vec<Piece>,
    next: usize,
    reader: Option<Box<dyn Read>>,
    crc: Crc,
    done: u64,
    total: u64,
}

/// The number of a piece; a capture that is one piece has number 0.
fn number(name: &str, capture: &str) -> Option<u64> {
    let rest = name.strip_prefix(capture)?;
    if rest.is_empty() { Some(0) } else { rest.strip_prefix('-')?.parse().ok() }
}

impl Pieces {
    pub(crate) fn find(
        path: &Path,
        file: &str,
        mut archive: ZipArchive<File>,
        capture: &str,
    ) -> Result<Self, RecordingError> {
        let mut pieces = Vec::new();
        for index in 0..archive.len() {
            let bad = |error: &dyn core::fmt::Display| RecordingError::malformed(file, "archive", error);
            let entry = archive.by_index_raw(index).map_err(|error| bad(&error))?;
            let name = entry.name().map_err(|error| bad(&error))?.into_owned();
            let Some(number) = number(&name, capture) else { continue };
            let deflated = match entry.compression() {
                CompressionMethod::Stored => false,
                CompressionMethod::Deflated => true,
                other => return Err(bad(&std::format!("entry {name} is packed by {other}, which is not read here"))),
            };
            let start = entry.data_start().ok_or_else(|| bad(&std::format!("entry {name} has no place")))?;
            let (compressed, size, crc) = (entry.compressed_size(), entry.size(), entry.crc32());
            pieces.push((number, Piece { name, start, compressed, size, crc, deflated }));
        }
        pieces.sort_by_key(|(number, _)| *number);
        let first = pieces.first().map_or(1, |(number, _)| *number);
        for (position, (number, piece)) in pieces.iter().enumerate() {
            let expected = first + position as u64;
            if first > 1 || *number != expected {
                let missing = if first > 1 { 1 } else { expected };
                let reason = std::format!("piece {missing} of {capture} is missing before {}", piece.name);
                return Err(RecordingError::cut_off(file, reason));
            }
        }
        if pieces.is_empty() {
            return Err(RecordingError::cut_off(file, std::format!("there are no samples ({capture})")));
        }
        let pieces: Vec<Piece> = pieces.into_iter().map(|(_, piece)| piece).collect();
        let total = pieces.iter().map(|piece| piece.size).sum();
        let (path, file) = (path.to_path_buf(), file.to_string());
        Ok(Self { path, file, pieces, next: 0, reader: None, crc: Crc::new(), done: 0, total })
    }

    pub(crate) fn progress(&self) -> f64 {
        if self.total == 0 { 1.0 } else { self.done as f64 / self.total as f64 }
    }

    fn open_next(&mut self) -> io::Result<bool> {
        let Some(piece) = self.pieces.get(self.next) else { return Ok(false) };
        self.next += 1;
        self.crc.reset();
        let mut opened = File::open(&self.path)?;
        opened.seek(SeekFrom::Start(piece.start))?;
        let raw = opened.take(piece.compressed);
        self.reader = Some(if piece.deflated {
            Box::new(DeflateDecoder::new(BufReader::with_capacity(1 << 16, raw)))
        } else {
            Box::new(raw)
        });
        Ok(true)
    }

    /// Reads on; 0 at the end of the last piece.
    pub(crate) fn read(&mut self, into: &mut [u8]) -> Result<usize, RecordingError> {
        loop {
            if self.reader.is_none() {
                let opened = self.open_next().map_err(|error| RecordingError::unreadable(&self.file, &error))?;
                if !opened {
                    return Ok(0);
                }
            }
            let Some(reader) = &mut self.reader else { return Ok(0) };
            let piece = &self.pieces[self.next - 1];
            let n = reader.read(into).map_err(|error| {
                RecordingError::malformed(
                    &self.file,
                    &piece.name,
                    std::format!("its samples cannot be unpacked ({error})"),
                )
            })?;
            self.crc.update(&into[..n]);
            self.done += n as u64;
            if n > 0 {
                return Ok(n);
            }
            if self.crc.sum() != piece.crc {
                return Err(RecordingError::malformed(&self.file, &piece.name, "its checksum does not match"));
            }
            self.reader = None;
        }
    }
}

//! Recordings of real buses: read, decoded at sample resolution, and replayed into simulated chips.
//!
//! A logic analyser writes what it saw into a session file (`.sr`), a value change dump (`.vcd`) or a table (`.csv`).
//! [`Recording::open`] reads any of them, of any length, in a few hundred kilobytes of memory. From it come, each built on
//! the one before: [`Edges`] of the lines behind a spike filter, [`Events`] (START, bytes with their acknowledge bits,
//! STOP), and [`Segments`], stretches from a START to the next START or STOP; all with their times. [`Timing`] gathers
//! t_LOW, t_HIGH and the others on the way. [`Rig::replay_recording`](crate::Rig::replay_recording) feeds the controller's
//! half into simulated chips and compares what they answer with what the real ones did.
//!
//! ```
//! use pagewise_simulator::recording::{ReadOptions, Recording, Seen};
//!
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("bus.csv");
//! # std::fs::write(&path, "Time [us],SCL,SDA\n0,1,1\n10,1,0\n20,0,0\n30,1,0\n40,1,1\n")?;
//! let recording = Recording::open(&path, &ReadOptions::default())?;
//! for bus in recording.buses()? {
//!     for seen in recording.segments(&bus)? {
//!         if let Seen::Segment(segment) = seen? {
//!             println!("{} ns: {:02X?}", segment.start_ns, segment.bytes);
//!         }
//!     }
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Times
//!
//! Nanoseconds from the start of the recording. An edge has the time of the first sample that shows it; it happened within
//! the sample interval before.
//!
//! # Formats
//!
//! - Session files of version 2, as the sigrok project documents them: an archive with `metadata` and the samples of the
//!   logic channels in one entry or in pieces, any number of bytes per sample; analog channels are passed over.
//! - Value change dumps with a time scale: 1-bit variables are channels; `z` and `x` count as released. A real variable
//!   that is named like a supply is one.
//! - Tables with a row per sample (rate from a comment or an option) or with a column of times.

mod bus;
mod channels;
mod check;
mod decode;
mod edges;
mod error;
pub(crate) mod replay;
mod segment;
mod source;
mod timing;

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::string::String;
use std::vec::Vec;

pub use bus::Bus;
pub use decode::{BusByte, BusEvent, Events, Health, Role};
pub use edges::{Edge, Edges};
pub use error::RecordingError;
pub use replay::found::{CycleSeen, Difference, Known, RecordingReplay, ReplayLevel};
pub use segment::{BusSegment, Seen, SegmentEnd, Segments};
pub use timing::{Spread, Timing};

use source::dump::DumpSource;
use source::session::{Metadata, SessionSource};
use source::table::TableSource;
use source::{Chosen, Source, dump, session, table};

/// How a recording is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadOptions {
    /// Pulses shorter than this many nanoseconds are spikes and left out; parts filter 50 ns.
    pub filter_ns: u64,
    /// Sample rate in hertz of a table that says none.
    pub sample_hz: Option<u64>,
}

impl Default for ReadOptions {
    /// Spikes below 50 ns; the rate is in the file.
    fn default() -> Self {
        Self { filter_ns: 50, sample_hz: None }
    }
}

#[derive(Debug, Clone)]
enum Format {
    Session(Metadata),
    Dump,
    Table,
}

/// A file with what was recorded. Nothing of its samples is kept in memory.
#[derive(Debug, Clone)]
pub struct Recording {
    path: PathBuf,
    file: String,
    options: ReadOptions,
    format: Format,
    /// Name of each channel, and whether it is a voltage.
    channels: Vec<(String, bool)>,
}

/// What the first bytes of a file say.
fn kind(path: &Path, file: &str) -> Result<&'static str, RecordingError> {
    let unreadable = |error: std::io::Error| RecordingError::unreadable(file, &error);
    let mut head = Vec::new();
    File::open(path).and_then(|opened| opened.take(512).read_to_end(&mut head)).map_err(unreadable)?;
    let first = head.trim_ascii_start();
    Ok(if head.starts_with(b"PK") {
        "session"
    } else if first.starts_with(b"$") {
        "dump"
    } else if !head.contains(&0) && head.iter().any(|byte| b",;\t".contains(byte)) {
        "table"
    } else {
        "unknown"
    })
}

impl Recording {
    /// Opens a recording and reads what it says about itself; the format is told from its first bytes.
    ///
    /// # Errors
    ///
    /// The file cannot be read, is cut off, or is not a recording.
    pub fn open(path: impl AsRef<Path>, options: &ReadOptions) -> Result<Self, RecordingError> {
        let path = path.as_ref();
        let file = path.display().to_string();
        let (format, channels) = match kind(path, &file)? {
            "session" => {
                let metadata = session::metadata(path, &file)?;
                let channels = metadata.channels.iter().map(|(_, name)| (name.clone(), false)).collect();
                (Format::Session(metadata), channels)
            }
            "dump" => {
                let header = dump::header(path, &file)?;
                (Format::Dump, header.variables.into_iter().map(|variable| (variable.name, variable.real)).collect())
            }
            "table" => {
                let header = table::header(path, &file)?;
                (Format::Table, header.channels.into_iter().map(|(_, name)| (name, false)).collect())
            }
            _ => return Err(RecordingError::UnknownFormat { file }),
        };
        Ok(Self { path: path.to_path_buf(), file, options: *options, format, channels })
    }

    /// The file, as it was named.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Names of the channels, in the order of the file.
    pub fn channels(&self) -> impl Iterator<Item = &str> {
        self.channels.iter().filter(|(_, voltage)| !voltage).map(|(name, _)| name.as_str())
    }

    fn source(&self, chosen: Chosen) -> Result<Source, RecordingError> {
        let (path, file) = (self.path.as_path(), self.file.as_str());
        Ok(match &self.format {
            Format::Session(metadata) => Source::Session(SessionSource::new(path, file, metadata, chosen)?),
            Format::Dump => Source::Dump(DumpSource::new(path, file, chosen)?),
            Format::Table => Source::Table(TableSource::new(path, file, self.options.sample_hz, chosen)?),
        })
    }

    /// The edges of a bus.
    ///
    /// # Errors
    ///
    /// The file cannot be read or is cut off; later errors come out of the iterator.
    pub fn edges(&self, bus: &Bus) -> Result<Edges, RecordingError> {
        Ok(Edges::new(self.source(bus.chosen)?, self.options.filter_ns))
    }

    /// What happens on a bus: START, bytes, STOP.
    ///
    /// # Errors
    ///
    /// As [`Recording::edges`].
    pub fn events(&self, bus: &Bus) -> Result<Events, RecordingError> {
        Ok(Events::new(self.edges(bus)?))
    }

    /// Stretches from a START to the next START or STOP.
    ///
    /// # Errors
    ///
    /// As [`Recording::edges`].
    pub fn segments(&self, bus: &Bus) -> Result<Segments, RecordingError> {
        Ok(Segments::new(self.events(bus)?))
    }
}

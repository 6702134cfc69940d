//! The recordings that are read.

use std::path::PathBuf;

use pagewise_base::fault::Fault;
use pagewise_simulator::recording::{Bus, ReadOptions, Recording, RecordingError};

/// Which channels carry the bus.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Channels {
    /// Those that are named SCL and SDA.
    #[default]
    ByName,
    /// Of several such pairs, the one whose names have these words in common.
    Bus(String),
    /// These, by name or by number from 1: SCL, then SDA.
    These(String, String),
}

/// A recording and how it is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// The file.
    pub path: PathBuf,
    /// The channels with the bus.
    pub channels: Channels,
    /// Sample rate in hertz, for a table that says none.
    pub sample_hz: Option<u64>,
}

impl Input {
    /// A recording whose channels are named SCL and SDA.
    pub fn of(path: impl Into<PathBuf>) -> Self {
        Self { path: path.into(), channels: Channels::ByName, sample_hz: None }
    }

    /// Opens it and looks whether there is I2C on its channels.
    pub(crate) fn open(&self) -> Result<(Recording, Bus), Fault> {
        let options = ReadOptions { sample_hz: self.sample_hz, ..ReadOptions::default() };
        let recording = Recording::open(&self.path, &options).map_err(|error| fault(&error))?;
        let bus = self.bus(&recording)?;
        recording.check(&bus).map_err(|error| fault(&error))?;
        Ok((recording, bus))
    }

    fn bus(&self, recording: &Recording) -> Result<Bus, Fault> {
        let buses = match &self.channels {
            Channels::These(scl, sda) => return recording.bus(scl, sda).map_err(|error| fault(&error)),
            Channels::ByName | Channels::Bus(_) => recording.buses().map_err(|error| fault(&error))?,
        };
        let names: Vec<String> =
            buses.iter().map(|bus| format!("\"{}\" ({}, {})", bus.name, bus.scl, bus.sda)).collect();
        let wanted = match &self.channels {
            Channels::Bus(name) => buses.into_iter().find(|bus| bus.name.eq_ignore_ascii_case(name)),
            _ if buses.len() > 1 => None,
            _ => buses.into_iter().next(),
        };
        wanted.ok_or_else(|| {
            let reason = format!("carries several buses, or not the one asked for: {}", names.join(", "));
            Fault::of_file(recording.file(), reason, "choose one with --bus, or its channels with --scl and --sda")
        })
    }
}

/// An error of the reader as a fault of its file.
pub(crate) fn fault(error: &RecordingError) -> Fault {
    let text = error.to_string();
    let (file, reason) = text.split_once(": ").unwrap_or(("", &text));
    match reason.rsplit_once("; ") {
        Some((reason, remedy)) => Fault::of_file(file, reason, remedy),
        None => Fault::of_file(file, reason, "name another file, or record again"),
    }
}

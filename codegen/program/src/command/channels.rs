//! Which channels of a recording are the bus.

use std::path::Path;

use clap::Args;

use pagewise_observe::{Channels, Input};

/// Which channels of the recordings are the bus, where their names do not say it.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Recordings")]
pub struct OfRecording {
    /// Channel of SCL: its name, or its number from 1.
    #[arg(long, value_name = "CHANNEL", requires = "sda")]
    pub scl: Option<String>,
    /// Channel of SDA: its name, or its number from 1.
    #[arg(long, value_name = "CHANNEL", requires = "scl")]
    pub sda: Option<String>,
    /// Of several buses in one file, the one whose channels have this in common (1 for SCL1 and SDA1).
    #[arg(long, value_name = "NAME", conflicts_with = "scl")]
    pub bus: Option<String>,
    /// Sample rate of a table that says none, in kHz.
    #[arg(long, value_name = "KHZ", value_parser = clap::value_parser!(u64).range(1..=100_000_000))]
    pub sample_khz: Option<u64>,
}

impl OfRecording {
    /// A recording with these channels.
    #[must_use]
    pub fn input(&self, path: &Path) -> Input {
        let channels = match (&self.scl, &self.sda, &self.bus) {
            (Some(scl), Some(sda), _) => Channels::These(scl.clone(), sda.clone()),
            (_, _, Some(bus)) => Channels::Bus(bus.clone()),
            _ => Channels::ByName,
        };
        Input { path: path.to_owned(), channels, sample_hz: self.sample_khz.map(|khz| khz * 1000) }
    }
}

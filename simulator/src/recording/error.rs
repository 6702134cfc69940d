//! What can be wrong with a recording.

use core::fmt;
use std::string::{String, ToString};
use std::vec::Vec;

/// Why a recording cannot be read, or not as asked. Its text says where, why, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum RecordingError {
    /// The file cannot be opened or read.
    Unreadable {
        /// Which.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// Neither a session file nor a value change dump nor a table.
    UnknownFormat {
        /// Which.
        file: String,
    },
    /// The contents contradict the format.
    Malformed {
        /// Which.
        file: String,
        /// Line, entry or key.
        place: String,
        /// What is wrong there, and what to do.
        reason: String,
    },
    /// The file ends too early.
    CutOff {
        /// Which.
        file: String,
        /// What is missing.
        reason: String,
    },
    /// No channel has this name or number.
    NoSuchChannel {
        /// Which file.
        file: String,
        /// The name or number asked for.
        wanted: String,
        /// Names of the channels that there are.
        channels: Vec<String>,
    },
    /// No pair of channels is called SCL and SDA, and none was named.
    NoBus {
        /// Which file.
        file: String,
        /// Names of the channels that there are.
        channels: Vec<String>,
        /// A pair that carries I2C all the same: SCL, then SDA.
        looks_like: Option<(String, String)>,
    },
    /// What is called SCL carries data, and what is called SDA carries the clock.
    Swapped {
        /// Which file.
        file: String,
        /// The channel taken for SCL.
        scl: String,
        /// The channel taken for SDA.
        sda: String,
    },
    /// There is no I2C on these channels.
    NoI2c {
        /// Which file.
        file: String,
        /// The channel taken for SCL.
        scl: String,
        /// The channel taken for SDA.
        sda: String,
        /// How one can tell.
        reason: String,
    },
}

impl RecordingError {
    pub(crate) fn malformed(file: &str, place: impl fmt::Display, reason: impl fmt::Display) -> Self {
        Self::Malformed { file: file.to_string(), place: place.to_string(), reason: reason.to_string() }
    }

    pub(crate) fn cut_off(file: &str, reason: impl fmt::Display) -> Self {
        Self::CutOff { file: file.to_string(), reason: reason.to_string() }
    }

    pub(crate) fn unreadable(file: &str, reason: &std::io::Error) -> Self {
        Self::Unreadable { file: file.to_string(), reason: reason.to_string() }
    }
}

impl fmt::Display for RecordingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, reason } => write!(f, "{file}: cannot be read: {reason}"),
            Self::UnknownFormat { file } => write!(
                f,
                "{file}: no recording that can be read; a session file (.sr), a value change dump (.vcd) or a table \
                 (.csv) can"
            ),
            Self::Malformed { file, place, reason } => write!(f, "{file}: {place}: {reason}"),
            Self::CutOff { file, reason } => {
                write!(f, "{file}: cut off: {reason}; copy or record it again")
            }
            Self::NoSuchChannel { file, wanted, channels } => write!(
                f,
                "{file}: no channel \"{wanted}\"; name one of {}, or give its number from 1 to {}",
                channels.join(", "),
                channels.len()
            ),
            Self::NoBus { file, channels, looks_like: Some((scl, sda)) } => write!(
                f,
                "{file}: no channels are called SCL and SDA among {}; {scl} looks like SCL and {sda} like SDA: name them",
                channels.join(", ")
            ),
            Self::NoBus { file, channels, looks_like: None } => write!(
                f,
                "{file}: no channels are called SCL and SDA; name two of {}, or give their numbers",
                channels.join(", ")
            ),
            Self::Swapped { file, scl, sda } => write!(
                f,
                "{file}: channels swapped: {scl} carries the data and {sda} the clock; name {sda} as SCL and {scl} as SDA"
            ),
            Self::NoI2c { file, scl, sda, reason } => write!(
                f,
                "{file}: no I2C on {scl} (SCL) and {sda} (SDA): {reason}; name the channels that carry the bus"
            ),
        }
    }
}

impl core::error::Error for RecordingError {}

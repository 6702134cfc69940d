//! The formats of recordings, each as a stream of changes of the lines.

pub(crate) mod counted;
pub(crate) mod dump;
pub(crate) mod session;
pub(crate) mod table;

use crate::recording::error::RecordingError;

/// What is read from a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sample {
    /// The lines, at the beginning and whenever one of them has changed; also where only the supply has.
    Lines { at_ns: u64, scl: bool, sda: bool },
    /// The supply has changed.
    Supply { at_ns: u64, on: bool, mv: Option<u32> },
    /// The file is over.
    End { at_ns: u64 },
}

impl Sample {
    pub(crate) fn at_ns(&self) -> u64 {
        match *self {
            Self::Lines { at_ns, .. } | Self::Supply { at_ns, .. } | Self::End { at_ns } => at_ns,
        }
    }
}

/// Positions of the chosen channels in a file's list of channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Chosen {
    pub(crate) scl: usize,
    pub(crate) sda: usize,
    pub(crate) supply: Option<usize>,
}

/// An open file with its chosen channels.
pub(crate) enum Source {
    Session(session::SessionSource),
    Dump(dump::DumpSource),
    Table(table::TableSource),
}

impl Source {
    /// The next sample that differs. After [`Sample::End`] it must not be called again.
    pub(crate) fn next(&mut self) -> Result<Sample, RecordingError> {
        match self {
            Self::Session(source) => source.next(),
            Self::Dump(source) => source.next(),
            Self::Table(source) => source.next(),
        }
    }

    /// The sample interval in nanoseconds, rounded up, where the file states it.
    pub(crate) fn interval_ns(&self) -> Option<u64> {
        match self {
            Self::Session(source) => Some(source.interval_ns()),
            Self::Dump(source) => source.interval_ns(),
            Self::Table(source) => source.interval_ns(),
        }
    }

    /// How much of the file has been read, from 0 to 1.
    pub(crate) fn progress(&self) -> f64 {
        match self {
            Self::Session(source) => source.progress(),
            Self::Dump(source) => source.progress(),
            Self::Table(source) => source.progress(),
        }
    }
}

/// A supply above this is on: no part reads below 1.5 V.
pub(crate) const ON_MV: u32 = 1500;

/// Time of sample `index` at a sample rate.
pub(crate) fn sample_ns(index: u64, hz: u64) -> u64 {
    (u128::from(index) * 1_000_000_000 / u128::from(hz)) as u64
}

/// A sample rate as files write it: `4 MHz`, `500 kHz`, `200000`, `12.5 MHz`.
pub(crate) fn rate_hz(text: &str) -> Option<u64> {
    let text = text.trim();
    let digits = text.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(text.len());
    let number: f64 = text[..digits].parse().ok()?;
    let unit = text[digits..].trim().to_ascii_lowercase();
    let factor = match unit.as_str() {
        "" | "hz" => 1.0,
        "k" | "khz" => 1e3,
        "m" | "mhz" => 1e6,
        "g" | "ghz" => 1e9,
        _ => return None,
    };
    let hz = (number * factor).round();
    (1.0..=1e12).contains(&hz).then_some(hz as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_numbers_with_a_unit() {
        for (text, hz) in [
            ("200000", 200_000),
            (" 4 MHz ", 4_000_000),
            ("12.5MHz", 12_500_000),
            ("500 kHz", 500_000),
            ("1k", 1_000),
            ("3 m", 3_000_000),
            ("0.5 GHz", 500_000_000),
            ("1g", 1_000_000_000),
            ("1 Hz", 1),
            ("0.6", 1),
            ("1000 GHz", 1_000_000_000_000),
        ] {
            assert_eq!(rate_hz(text), Some(hz), "{text}");
        }
        for text in ["", "MHz", "0", "0.4 Hz", "-1", "4 MHzz", "1.2.3", "1001 GHz", "4 M Hz"] {
            assert_eq!(rate_hz(text), None, "{text}");
        }
    }

    #[test]
    fn times_of_samples_are_exact_and_rounded_down() {
        assert_eq!(sample_ns(1, 3), 333_333_333);
        assert_eq!(sample_ns(3, 3), 1_000_000_000);
        // A century at 1 GHz: more than 64 bits on the way.
        assert_eq!(sample_ns(3_155_760_000_000_000_000, 1_000_000_000), 3_155_760_000_000_000_000);
    }
}

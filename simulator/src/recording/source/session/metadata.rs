//! What a session file says about itself.

use std::string::{String, ToString};
use std::vec::Vec;

use crate::recording::error::RecordingError;
use crate::recording::source::rate_hz;

/// The logic channels of a session file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Metadata {
    /// Entry of the archive that holds the samples, or how the names of its pieces begin.
    pub(crate) capture: String,
    pub(crate) hz: u64,
    /// Bytes per sample.
    pub(crate) unit: usize,
    /// Bit and name of each logic channel.
    pub(crate) channels: Vec<(usize, String)>,
}

/// The value of a key of the first device that has a capture file.
fn pairs(text: &str) -> Vec<(String, String)> {
    let (mut devices, mut in_device) = (Vec::<Vec<(String, String)>>::new(), false);
    for line in text.lines().map(str::trim) {
        if line.starts_with('[') {
            in_device = line.to_ascii_lowercase().starts_with("[device");
            devices.extend(in_device.then(Vec::new));
        } else if let (true, Some(device), Some((key, value))) = (in_device, devices.last_mut(), line.split_once('=')) {
            device.push((key.trim().to_ascii_lowercase(), value.trim().to_string()));
        }
    }
    devices.into_iter().find(|device| device.iter().any(|(key, _)| key == "capturefile")).unwrap_or_default()
}

impl Metadata {
    pub(crate) fn read(file: &str, text: &str) -> Result<Self, RecordingError> {
        let bad = |reason: &str| RecordingError::malformed(file, "metadata", reason);
        let pairs = pairs(text);
        let value = |key: &str| pairs.iter().find(|(k, _)| k == key).map(|(_, value)| value.as_str());
        let capture = value("capturefile").ok_or_else(|| bad("no device with a capturefile: no logic was recorded"))?;
        let rate = value("samplerate").ok_or_else(|| bad("no samplerate, so that no time is known; record again"))?;
        let hz = rate_hz(rate).ok_or_else(|| bad(&std::format!("samplerate \"{rate}\" is not a rate")))?;
        let mut channels: Vec<(usize, String)> = pairs
            .iter()
            .filter_map(|(key, name)| {
                let number: usize = key.strip_prefix("probe")?.parse().ok()?;
                (1..=512).contains(&number).then(|| (number - 1, name.clone()))
            })
            .collect();
        channels.sort();
        let highest = channels.last().ok_or_else(|| bad("no logic channels (probe1, probe2, ...)"))?.0;
        let unit = match value("unitsize") {
            Some(text) => text.parse().ok().filter(|unit| (1..=64).contains(unit)),
            None => Some(highest / 8 + 1),
        };
        let unit: usize = unit.ok_or_else(|| bad("unitsize is not a number from 1 to 64"))?;
        if highest / 8 >= unit {
            let reason = std::format!("probe{} does not fit into samples of {unit} bytes", highest + 1);
            return Err(bad(&reason));
        }
        Ok(Self { capture: capture.to_string(), hz, unit, channels })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metadata_of_several_versions_is_read() {
        let old = "[global]\nsigrok version=0.3.0\n\n[device 1]\ncapturefile=logic-1\ntotal probes=8\nsamplerate=4 MHz\n\
                   probe1=SCL\nprobe2=SDA\nunitsize=1\n";
        let metadata = Metadata::read("x.sr", old).unwrap();
        assert_eq!((metadata.hz, metadata.unit, metadata.capture.as_str()), (4_000_000, 1, "logic-1"));
        assert_eq!(metadata.channels, [(0, "SCL".to_string()), (1, "SDA".to_string())]);
        let new = "[global]\r\nsigrok version=0.6.0\r\n[device 1]\r\nsamplerate=12.5 MHz\r\ntotal analog=2\r\n\
                   analog17=A0\r\ncapturefile=logic-1\r\ntotal probes=16\r\nprobe3=D2\r\nprobe12=SDA\r\n";
        let metadata = Metadata::read("x.sr", new).unwrap();
        assert_eq!((metadata.hz, metadata.unit), (12_500_000, 2));
        assert_eq!(metadata.channels, [(2, "D2".to_string()), (11, "SDA".to_string())]);
    }

    #[test]
    fn the_first_device_with_a_capture_file_counts() {
        let text = "[device 1]\ntotal analog=1\nsamplerate=1 MHz\n[Device 2]\nCaptureFile = logic-2\nsamplerate=2 kHz\n\
                    probe1=SCL\n[device 3]\ncapturefile=logic-3\n[global]\nsamplerate=9 Hz\nprobe7=SDA\n";
        let (capture, channels) = ("logic-2".to_string(), Vec::from([(0, "SCL".to_string())]));
        assert_eq!(Metadata::read("x.sr", text).unwrap(), Metadata { capture, hz: 2000, unit: 1, channels });
    }

    #[test]
    fn probes_fit_into_the_samples() {
        let read = |rest: &str| {
            let text = std::format!("[device 1]\ncapturefile=logic-1\nsamplerate=1 MHz\n{rest}");
            Metadata::read("x.sr", &text).map(|metadata| metadata.unit).map_err(|error| error.to_string())
        };
        for (rest, unit) in [
            ("probe8=a", 1),
            ("probe9=a", 2),
            ("probe9=a\nunitsize=2", 2),
            ("probe1=a\nunitsize=64", 64),
            ("probe512=a", 64),
            ("probe1=a\nprobe0=b\nprobe513=c\nprobeX=d", 1),
        ] {
            assert_eq!(read(rest), Ok(unit), "{rest}");
        }
        for unit in ["0", "65", "-1", "two"] {
            let error = read(&std::format!("probe1=a\nunitsize={unit}")).unwrap_err();
            assert_eq!(error, "x.sr: metadata: unitsize is not a number from 1 to 64");
        }
        let error = read("probe16=a\nunitsize=1").unwrap_err();
        assert_eq!(error, "x.sr: metadata: probe16 does not fit into samples of 1 bytes");
    }

    #[test]
    fn metadata_without_time_or_channels_is_refused_with_the_reason() {
        let text = |without: &str| {
            let all = ["[device 1]", "capturefile=logic-1", "samplerate=1 MHz", "probe1=SCL", "unitsize=1"];
            all.into_iter().filter(|line| !line.starts_with(without)).collect::<Vec<_>>().join("\n")
        };
        for (without, word) in [("capturefile", "capturefile"), ("samplerate", "samplerate"), ("probe1", "channels")] {
            let error = Metadata::read("x.sr", &text(without)).unwrap_err().to_string();
            assert!(error.starts_with("x.sr: metadata: ") && error.contains(word), "{error}");
        }
        assert!(Metadata::read("x.sr", &text("[none]")).is_ok());
        assert!(Metadata::read("x.sr", &text("unitsize")).is_ok());
        let wide = text("probe1") + "\nprobe9=SDA";
        assert!(Metadata::read("x.sr", &wide).unwrap_err().to_string().contains("probe9 does not fit"));
    }
}

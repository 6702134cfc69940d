//! What the processes on the simulated bus reported.

use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::Bridge;
use crate::output::{Tone, paint, plain, wrapped};
use pagewise_base::fault::Fault;

/// How the program ended and what was seen.
pub(super) struct Outcome {
    pub(super) exit: u8,
    /// A process opened the device.
    pub(super) opened: bool,
    pub(super) hazards: Vec<Seen>,
}

/// A hazard that a detector named.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct Seen {
    /// Name of the hazard.
    hazard: String,
    /// When, in nanoseconds since the process opened the device.
    at_ns: u64,
    /// What happened.
    text: String,
}

/// What one process reported.
#[derive(Deserialize)]
struct Process {
    hazards: Vec<Seen>,
}

/// Reads the reports: a line of JSON per process. No file: nobody opened the device.
pub(super) fn read(path: &Path) -> Result<(bool, Vec<Seen>), Fault> {
    let text = match fs::read_to_string(path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok((false, Vec::new())),
        Err(error) => return Err(Fault::of_file("bridge", format!("reports cannot be read: {error}"), "")),
    };
    let mut hazards = Vec::new();
    for line in text.lines() {
        let process: Process = serde_json::from_str(line).map_err(|error| {
            let remedy = "use program and preload library of one version";
            Fault::of_file("bridge", format!("reports cannot be read: {error}"), remedy)
        })?;
        hazards.extend(process.hazards);
    }
    Ok((true, hazards))
}

pub(super) fn text(bridge: &Bridge, outcome: &Outcome) -> String {
    let mark = paint(Tone::Faint, "bridge: ");
    if !outcome.opened {
        let text = format!("the program did not open {}", plain(&bridge.device));
        return format!("{mark}{}\n", paint(Tone::Caution, text));
    }
    if outcome.hazards.is_empty() {
        return format!("{mark}{}\n", paint(Tone::Good, "no hazard seen"));
    }
    let line = |seen: &Seen| {
        let (ms, ns) = (seen.at_ns / 1_000_000, seen.at_ns % 1_000_000);
        let text = format!("at {ms}.{ns:06} ms: {}", plain(&seen.text));
        let name = paint(Tone::Bad, plain(&seen.hazard));
        format!("{}\n", wrapped(&text, &format!("{mark}{name} "), "        "))
    };
    outcome.hazards.iter().map(line).collect()
}

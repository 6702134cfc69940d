//! What this process has to tell at its end: trace and hazards.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

use pagewise_simulator::Rig;
use serde_json::json;

/// Prints a message of ours to standard error.
pub(crate) fn say(text: &str) {
    // Nobody is left to tell when standard error itself fails.
    let _ = writeln!(std::io::stderr(), "bridge: {text}");
}

/// Appends trace and report of a bus to their files, in one write each, so that processes do not mix their lines.
pub(crate) fn write(rig: &Rig, trace: Option<&Path>, reports: &Path) {
    if let Some(path) = trace {
        append(path, &rig.transfers_text());
    }
    let hazards: Vec<_> = rig
        .finish()
        .iter()
        .map(|seen| json!({ "hazard": seen.hazard.name(), "at_ns": seen.at_ns, "text": seen.text }))
        .collect();
    append(reports, &format!("{}\n", json!({ "hazards": hazards })));
}

fn append(path: &Path, text: &str) {
    let written =
        OpenOptions::new().create(true).append(true).open(path).and_then(|mut file| file.write_all(text.as_bytes()));
    if let Err(error) = written {
        say(&format!("{}: {error}", path.display()));
    }
}

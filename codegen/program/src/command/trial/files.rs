//! The files that a trial writes besides its answer.

use std::path::{Path, PathBuf};

use clap::Args;

use super::baseline;
use pagewise_base::disk;
use pagewise_base::fault::Faults;
use pagewise_report::trial::Trial;

/// Files to write, each in its own form.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Reports")]
pub struct Files {
    /// Write JUnit XML, a suite per part: a new loss fails.
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Write one HTML page: it needs no other file and no network.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write the losses of this run as a baseline.
    #[arg(long, value_name = "FILE")]
    pub write_baseline: Option<PathBuf>,
}

impl Files {
    pub(super) fn write(&self, trial: &Trial) -> Result<(), Faults> {
        let baseline = || serde_json::to_string_pretty(&baseline::of(trial)).unwrap_or_default() + "\n";
        let texts: Vec<(&Path, String)> = [
            self.junit.as_deref().map(|path| (path, trial.junit())),
            self.html.as_deref().map(|path| (path, trial.page())),
            self.write_baseline.as_deref().map(|path| (path, baseline())),
        ]
        .into_iter()
        .flatten()
        .collect();
        let files: Vec<(&Path, &[u8])> = texts.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
        disk::replace_all(&files).map(|_| ())
    }
}

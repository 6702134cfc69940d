//! The reports that `pagewise swap` writes besides its answer.

use std::path::{Path, PathBuf};

use clap::Args;

use pagewise_base::disk;
use pagewise_base::draft::Draft;
use pagewise_base::fault::{Fault, Faults};
use pagewise_report::Report;

/// Files to write the verdicts to, each in its own form.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Reports")]
pub struct Files {
    /// Write Markdown, for a comment on a change.
    #[arg(long, value_name = "FILE")]
    pub markdown: Option<PathBuf>,
    /// Write JUnit XML, a case per board and candidate: what --accept does not take fails.
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Write one HTML page with pictures, to send to a colleague: it needs no other file and no network.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
}

/// What makes a text of a report.
type Form = fn(&Report<'_>) -> String;

impl Files {
    fn asked(&self) -> Vec<(&Path, Form)> {
        let all: [(&Option<PathBuf>, Form); 3] = [
            (&self.markdown, |report| report.markdown()),
            (&self.junit, |report| report.junit()),
            (&self.html, |report| report.page()),
        ];
        all.into_iter().filter_map(|(path, form)| Some((path.as_deref()?, form))).collect()
    }

    /// Whether a report was asked for.
    pub(super) fn any(&self) -> bool {
        !self.asked().is_empty()
    }

    /// Looks at the names, that of the results among them, before anything is computed.
    ///
    /// # Errors
    /// Two reports would be written to one file, a folder is missing, or a name is that of a folder.
    pub(super) fn check(&self, lines: Option<&Path>) -> Result<(), Faults> {
        let asked: Vec<&Path> = lines.into_iter().chain(self.asked().into_iter().map(|(path, _)| path)).collect();
        let mut faults = Vec::new();
        for (at, path) in asked.iter().enumerate() {
            let file = path.display().to_string();
            if asked[..at].contains(path) {
                faults.push(Fault::of_file(&file, "is named for two reports", "give each report its own file"));
            }
            let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
            if folder.is_some_and(|folder| !folder.is_dir()) {
                faults.push(Fault::of_file(&file, "lies in a folder that does not exist", "create the folder first"));
            } else if path.is_dir() {
                faults.push(Fault::of_file(&file, "is not a file", "name a file to write"));
            }
        }
        Faults(faults).or_ok(())
    }

    /// Writes what was asked for, and puts the results in place: all files, or none.
    ///
    /// # Errors
    /// Everything that could not be written.
    pub(super) fn write(&self, report: &Report<'_>, lines: Option<Draft>) -> Result<(), Faults> {
        let texts: Vec<(&Path, String)> = self.asked().into_iter().map(|(path, form)| (path, form(report))).collect();
        let files: Vec<(&Path, &[u8])> = texts.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
        disk::replace_all_and_keep(&files, lines)
    }
}

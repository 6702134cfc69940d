//! The reports that `pagewise swap` and `pagewise merge` write besides their answer.

use std::path::{Path, PathBuf};

use clap::Args;

use pagewise_base::disk;
use pagewise_base::draft::Draft;
use pagewise_base::fault::{Fault, Faults};
use pagewise_report::Report;
use pagewise_report::fleet::{FEW, Fleet};

/// Files to write the verdicts to, each in its own form.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Reports")]
pub struct Files {
    /// Write Markdown, for a comment on a change: each board, or of more than 20 those together that take the same part.
    #[arg(long, value_name = "FILE")]
    pub markdown: Option<PathBuf>,
    /// Write JUnit XML, a case per board and candidate, or of more than 20 boards a case per board: what --accept does not
    /// take fails.
    #[arg(long, value_name = "FILE")]
    pub junit: Option<PathBuf>,
    /// Write one HTML page with pictures, to send to a colleague: it needs no other file and no network. Of more than 20
    /// boards it has a row for each.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write index.html and a page for each board into this folder, which must not exist yet or be empty.
    #[arg(long, value_name = "FOLDER")]
    pub pages: Option<PathBuf>,
}

/// What the reports are made of.
#[derive(Clone, Copy)]
pub(in crate::command) struct Source<'a> {
    /// The results.
    pub(in crate::command) fleet: Fleet<'a>,
    /// Whole judgements, where there are few boards.
    pub(in crate::command) report: Option<Report<'a>>,
    /// The page of each board, where pages were asked for and more is known of it than its results say.
    pub(in crate::command) pages: &'a [String],
}

/// What makes a text of a report.
type Form = fn(&Source<'_>) -> String;

fn markdown(source: &Source<'_>) -> String {
    source.report.map_or_else(|| source.fleet.markdown(), |report| report.markdown())
}

fn junit(source: &Source<'_>) -> String {
    source.report.map_or_else(|| source.fleet.junit(), |report| report.junit())
}

fn html(source: &Source<'_>) -> String {
    source.report.map_or_else(|| source.fleet.page(&[]), |report| report.page())
}

impl Files {
    fn asked(&self) -> Vec<(&Path, Form)> {
        let all: [(&Option<PathBuf>, Form); 3] = [(&self.markdown, markdown), (&self.junit, junit), (&self.html, html)];
        all.into_iter().filter_map(|(path, form)| Some((path.as_deref()?, form))).collect()
    }

    /// Whether a report wants whole judgements of so many boards.
    pub(in crate::command) fn wants_judgements(&self, boards: usize) -> bool {
        boards <= FEW && !self.asked().is_empty()
    }

    /// Looks at the names, that of the results among them, before anything is computed.
    ///
    /// # Errors
    /// Two reports would be written to one file, a folder is missing, or a name is that of a folder.
    pub(in crate::command) fn check(&self, lines: Option<&Path>) -> Result<(), Faults> {
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
        faults.extend(self.pages.as_ref().and_then(|folder| disk::free_folder(folder).err()));
        Faults(faults).or_ok(())
    }

    /// Writes what was asked for, and puts the results in place: all files, or none; the folder of pages last.
    ///
    /// # Errors
    /// Everything that could not be written.
    pub(in crate::command) fn write(&self, source: &Source<'_>, lines: Option<Draft>) -> Result<(), Faults> {
        let texts: Vec<(&Path, String)> = self.asked().into_iter().map(|(path, form)| (path, form(source))).collect();
        let files: Vec<(&Path, &[u8])> = texts.iter().map(|(path, text)| (*path, text.as_bytes())).collect();
        disk::replace_all_and_keep(&files, lines)?;
        let Some(folder) = &self.pages else { return Ok(()) };
        let (fleet, names) = (source.fleet, source.fleet.page_names());
        let made: Vec<String> = match source.pages {
            [] => fleet.boards.iter().map(|board| fleet.board_page(board)).collect(),
            pages => pages.to_vec(),
        };
        let index = fleet.page(&names);
        let mut all: Vec<(&str, &str)> =
            names.iter().map(String::as_str).zip(made.iter().map(String::as_str)).collect();
        all.push(("index.html", &index));
        Ok(disk::make_folder(folder, &all)?)
    }
}

//! Board files, named one by one or by their folders.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use crate::board::{self, Board, sheet};
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Catalogue;

/// What the paths name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Boards {
    /// The boards, each with the text of its file.
    pub boards: Vec<(Board, String)>,
    /// Recordings that a table, or its own file, names for a board, by the board's `file`.
    pub recordings: BTreeMap<String, Vec<PathBuf>>,
    /// Boards whose fitted part no card describes, where there are others: nothing can be said of them.
    pub without_card: Vec<Fault>,
    /// Columns of tables that boards have no field for.
    pub unused_columns: Vec<String>,
}

/// Reads every board that the paths name: a file as it is, a table of boards row by row (`names` has the header of each
/// field that is called otherwise there), a folder with all `*.toml` files in it and in the folders below, by path.
/// Folders whose name begins with a dot, and links to folders, are left out. A file that is named twice is read once.
///
/// # Errors
/// Everything that is wrong with any of them; the parts without a card where no board has one.
pub fn read(paths: &[PathBuf], catalogue: &Catalogue, names: &BTreeMap<String, String>) -> Result<Boards, Faults> {
    let mut faults = Vec::new();
    let mut found = Boards::default();
    let mut seen = BTreeSet::new();
    for path in paths {
        let mut files = Vec::new();
        if path.is_dir() {
            let before = faults.len();
            files_below(path, &mut files, &mut faults);
            files.sort();
            if files.is_empty() && faults.len() == before {
                let remedy = "name a folder with *.toml board files";
                faults.push(Fault::of_file(&path.display().to_string(), "holds no board file", remedy));
            }
        } else {
            files.push(path.clone());
        }
        for file in files {
            if !seen.insert(fs::canonicalize(&file).unwrap_or_else(|_| file.clone())) {
                continue;
            }
            let read = if sheet::is_table(&file) {
                from_table(&mut found, &file, catalogue, names)
            } else {
                from_file(&mut found, &file, catalogue)
            };
            faults.extend(read.err().into_iter().flat_map(|more| more.0));
        }
    }
    if found.boards.is_empty() {
        faults.append(&mut found.without_card);
    }
    Faults(faults).or_ok(found)
}

fn from_file(found: &mut Boards, path: &Path, catalogue: &Catalogue) -> Result<(), Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    let board = board::parse(&file, &text)?;
    let recordings = recordings(path, &board, &text)?;
    match catalogue.named(&board.fitted, &file, 0, "fitted") {
        Ok(_) => {
            if !recordings.is_empty() {
                found.recordings.insert(file, recordings);
            }
            found.boards.push((board, text));
        }
        Err(fault) => found.without_card.push(fault),
    }
    Ok(())
}

/// The recordings that a board file names, from where the program runs.
fn recordings(path: &Path, board: &Board, text: &str) -> Result<Vec<PathBuf>, Faults> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let files: Vec<PathBuf> = board.recording.iter().map(|name| folder.join(name)).collect();
    let line = text.lines().position(|line| line.trim_start().starts_with("recording")).map_or(0, |at| at + 1);
    let missing = board.recording.iter().zip(&files).filter(|(_, file)| !file.is_file()).map(|(name, _)| Fault {
        line,
        field: "recording".to_owned(),
        ..Fault::of_file(&board.file, format!("there is no file {name}"), "name recordings as seen from this file")
    });
    Faults(missing.collect()).or_ok(files)
}

fn from_table(
    found: &mut Boards,
    path: &Path,
    catalogue: &Catalogue,
    names: &BTreeMap<String, String>,
) -> Result<(), Faults> {
    let sheet = sheet::read(path, names, catalogue)?;
    found.boards.extend(sheet.boards);
    found.recordings.extend(sheet.recordings);
    found.without_card.extend(sheet.without_card);
    found.unused_columns.extend(sheet.unused_columns);
    Ok(())
}

fn files_below(folder: &Path, files: &mut Vec<PathBuf>, faults: &mut Vec<Fault>) {
    let mut unreadable = |error: std::io::Error| faults.push(Fault::unreadable(&folder.display().to_string(), &error));
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => return unreadable(error),
    };
    let mut below = Vec::new();
    for entry in entries {
        let kind = entry.and_then(|entry| Ok((entry.path(), entry.file_name(), entry.file_type()?)));
        match kind {
            Ok((path, name, kind)) if kind.is_dir() => {
                if !name.to_string_lossy().starts_with('.') {
                    below.push(path);
                }
            }
            Ok((path, _, _)) if path.extension().is_some_and(|extension| extension == "toml") && !path.is_dir() => {
                files.push(path);
            }
            Ok(_) => {}
            Err(error) => unreadable(error),
        }
    }
    below.iter().for_each(|folder| files_below(folder, files, faults));
}

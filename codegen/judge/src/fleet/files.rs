//! Board files, named one by one or by their folders.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::board::{self, Board};
use pagewise_base::fault::{Fault, Faults};

/// Reads every board that the paths name: a file as it is, a folder with all `*.toml` files in it and in the folders
/// below, by path. Folders whose name begins with a dot, and links to folders, are left out. A file that is named twice
/// is read once.
///
/// # Errors
/// Everything that is wrong with any of them.
pub fn read(paths: &[PathBuf]) -> Result<Vec<Board>, Faults> {
    let mut faults = Vec::new();
    let mut boards = Vec::new();
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
            match board::read(&file) {
                Ok(board) => boards.push(board),
                Err(more) => faults.extend(more.0),
            }
        }
    }
    Faults(faults).or_ok(boards)
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

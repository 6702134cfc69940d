//! Board files, named one by one or by their folders.

use std::fs;
use std::path::{Path, PathBuf};

use crate::board::{self, Board};
use crate::fault::{Fault, Faults};

/// Reads every board that the paths name.
///
/// # Errors
/// Everything that is wrong with any of them.
pub fn read(paths: &[PathBuf]) -> Result<Vec<Board>, Faults> {
    let mut faults = Vec::new();
    let mut boards = Vec::new();
    for path in paths {
        match board_files(path) {
            Ok(files) => {
                for file in files {
                    match board::read(&file) {
                        Ok(board) => boards.push(board),
                        Err(more) => faults.extend(more.0),
                    }
                }
            }
            Err(fault) => faults.push(fault),
        }
    }
    Faults(faults).or_ok(boards)
}

fn board_files(path: &Path) -> Result<Vec<PathBuf>, Fault> {
    let file = path.display().to_string();
    let unreadable = |error: std::io::Error| {
        Fault::of_file(&file, format!("cannot be read: {error}"), "check the path and its permissions")
    };
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let mut files = Vec::new();
    for entry in fs::read_dir(path).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?.path();
        if entry.extension().is_some_and(|extension| extension == "toml") {
            files.push(entry);
        }
    }
    files.sort();
    if files.is_empty() {
        return Err(Fault::of_file(&file, "holds no board file", "name a folder with *.toml board files"));
    }
    Ok(files)
}

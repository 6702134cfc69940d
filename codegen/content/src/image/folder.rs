//! A folder of images on disk: one file per unit and a manifest, all of them or none.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::build::Value;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::scratch;

/// Name of the manifest: JSON Lines, one object per unit.
pub const MANIFEST: &str = "manifest.jsonl";

/// A file to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImageFile {
    /// Its name in the folder.
    pub name: String,
    /// What it holds.
    pub contents: Vec<u8>,
}

/// One line of the manifest.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Entry {
    /// The unit; null for the one image of a layout that takes no values per unit.
    pub unit: Option<String>,
    /// Name of its file in the folder.
    pub file: String,
    /// SHA-256 of the file, in hexadecimal digits.
    pub sha256: String,
    /// Form of the file: bin, ihex, srec.
    pub form: super::Form,
    /// Card that the layout was placed for.
    pub part: String,
    /// Cards of the other parts that it was placed for, too.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also_for: Vec<String>,
    /// Name of the layout; absent where a dump was moved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layout: Option<String>,
    /// Card of the part whose contents were moved, or the dump where that was not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moved_from: Option<String>,
    /// Value of each region.
    pub values: Vec<Value>,
}

/// What is read of a manifest before its folder is replaced.
#[derive(Deserialize)]
struct Known {
    file: String,
}

/// Makes `folder` hold these files and the manifest, and nothing else.
///
/// The files are written to a folder beside it, which then takes its name. A folder that is there already must be
/// empty, or, with `overwrite`, hold nothing but a manifest and files that it names.
///
/// # Errors
/// What stands in the way. Whatever was there stays as it was.
pub fn write(folder: &Path, files: &[ImageFile], manifest: &[Entry], overwrite: bool) -> Result<(), Faults> {
    write_telling(folder, files, manifest, overwrite, &|| ())
}

/// As [`write()`], and calls `done` for each file that is on the disk.
///
/// # Errors
/// Those of [`write()`].
pub fn write_telling(
    folder: &Path,
    files: &[ImageFile],
    manifest: &[Entry],
    overwrite: bool,
    done: &dyn Fn(),
) -> Result<(), Faults> {
    let shown = folder.display().to_string();
    let old = check(folder, &shown, overwrite)?;
    let unwritable = |error: io::Error| {
        // The temporary folder's name, which the error may carry, means nothing to the user.
        let cause =
            error.get_ref().and_then(|inner| inner.source()).map_or_else(|| error.to_string(), ToString::to_string);
        Fault::of_file(&shown, format!("cannot be written: {cause}"), "check the folder around it and its permissions")
    };
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty());
    let parent = parent.map_or_else(|| PathBuf::from("."), Path::to_owned);
    if !parent.is_dir() {
        let reason = "lies in a folder that does not exist";
        return Err(Fault::of_file(&shown, reason, "create that folder first").into());
    }
    let fresh = fill(&parent, files, manifest, done).map_err(unwritable)?;
    let aside = match old {
        // Renaming onto an empty folder replaces it at once; one that is in use steps aside first.
        Old::None | Old::Empty => None,
        Old::Ours => {
            // It must not be lost, whatever ends this process: nobody sweeps it.
            let aside = tempfile::Builder::new().prefix(".pagewise-old-").tempdir_in(&parent).map_err(unwritable)?;
            let place = aside.path().join("old");
            fs::rename(folder, &place).map_err(unwritable)?;
            Some((aside, place))
        }
    };
    if old == Old::Empty && cfg!(not(unix)) {
        fs::remove_dir(folder).map_err(unwritable)?;
    }
    if let Err(error) = fs::rename(fresh.path(), folder) {
        if let Some((aside, place)) = aside
            && let Err(again) = fs::rename(&place, folder)
        {
            // Rather two folders than none.
            let kept = aside.keep();
            let reason = format!("cannot be written: {error}; what it held is in {} ({again})", kept.display());
            return Err(Fault::of_file(&shown, reason, "move it back by hand").into());
        }
        return Err(unwritable(error).into());
    }
    // It has another name now, under which nothing is to be removed.
    let _ = fresh.keep();
    Ok(())
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Old {
    None,
    Empty,
    Ours,
}

fn check(folder: &Path, shown: &str, overwrite: bool) -> Result<Old, Fault> {
    let Ok(about) = fs::symlink_metadata(folder) else { return Ok(Old::None) };
    if !about.is_dir() {
        return Err(Fault::of_file(shown, "is not a folder", "name a folder to write"));
    }
    let unreadable = |error: io::Error| Fault::unreadable(shown, &error);
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        names.push(entry.map_err(unreadable)?.file_name().to_string_lossy().into_owned());
    }
    if names.is_empty() {
        return Ok(Old::Empty);
    }
    if !overwrite {
        let reason = format!("holds {} files already", names.len());
        return Err(Fault::of_file(shown, reason, "name another folder, or --overwrite to replace images made before"));
    }
    let manifest = fs::read_to_string(folder.join(MANIFEST)).unwrap_or_default();
    let known: Vec<Known> = manifest.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    let foreign = names.iter().filter(|name| *name != MANIFEST && !known.iter().any(|known| known.file == **name));
    let foreign: Vec<&str> = foreign.map(String::as_str).take(3).collect();
    if !foreign.is_empty() {
        let reason = format!("holds files that its manifest does not name: {}", foreign.join(", "));
        return Err(Fault::of_file(shown, reason, "name another folder"));
    }
    Ok(Old::Ours)
}

/// A folder of its own beside the target, so that a rename is enough.
fn fill(parent: &Path, files: &[ImageFile], manifest: &[Entry], done: &dyn Fn()) -> io::Result<scratch::Folder> {
    let fresh = scratch::folder_in(parent)?;
    for file in files {
        put(&fresh.path().join(&file.name), &file.contents)?;
        done();
    }
    let mut lines = String::new();
    for entry in manifest {
        lines += &serde_json::to_string(entry)?;
        lines.push('\n');
    }
    put(&fresh.path().join(MANIFEST), lines.as_bytes())?;
    Ok(fresh)
}

fn put(path: &Path, contents: &[u8]) -> io::Result<()> {
    let mut file = fs::File::create_new(path)?;
    file.write_all(contents)?;
    file.sync_all()
}

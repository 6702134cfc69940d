//! Writing generated files: all or nothing.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::draft::Draft;
use crate::fault::{Fault, Faults};
use crate::staged::{Staged, stage, unwritable, write_beside};

/// What happened to a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// It was written.
    Anew,
    /// It already held this text and was left alone, so that nothing is built anew.
    Unchanged,
}

/// Makes `path` hold `text`: written to a temporary file beside it, then renamed over it.
///
/// # Errors
/// The folder is missing or not writable, or `path` is not a file. Whatever was there stays as it was, and no
/// temporary file is left.
pub fn replace(path: &Path, text: &str) -> Result<Written, Fault> {
    replace_bytes(path, text.as_bytes())
}

/// As [`replace`], for files that are not text.
///
/// # Errors
/// Those of [`replace`].
pub fn replace_bytes(path: &Path, bytes: &[u8]) -> Result<Written, Fault> {
    match replace_all(&[(path, bytes)]) {
        Ok(written) => Ok(written.first().copied().unwrap_or(Written::Unchanged)),
        Err(mut faults) => Err(faults.0.remove(0)),
    }
}

/// Makes a file that does not exist, whole. Returns whether it was made: whoever is first makes it, nobody replaces it.
///
/// # Errors
/// The folder is missing or not writable, or the disk is full.
pub fn make_new(path: &Path, bytes: &[u8]) -> io::Result<bool> {
    if path.exists() {
        return Ok(false);
    }
    match write_beside(path, bytes)?.persist_noclobber(path) {
        Ok(_) => Ok(true),
        Err(failed) if failed.error.kind() == io::ErrorKind::AlreadyExists => Ok(false),
        Err(failed) => Err(failed.error),
    }
}

/// Makes a folder of files, named and with their texts: written to a folder beside, which then takes its place, so that
/// there is all or nothing.
///
/// # Errors
/// The folder holds something, lies in one that does not exist, or cannot be written.
pub fn make_folder(folder: &Path, files: &[(&str, &str)]) -> Result<(), Fault> {
    let fault = |error: io::Error| unwritable_folder(folder, &error);
    free_folder(folder)?;
    let parent = parent_of(folder);
    let draft = crate::scratch::folder_in(parent).map_err(fault)?;
    for (name, text) in files {
        fs::write(draft.path().join(name), text).map_err(fault)?;
    }
    if folder.exists() {
        fs::remove_dir(folder).map_err(fault)?;
    }
    fs::rename(draft.path(), folder).map_err(fault)?;
    // It has moved: there is nothing left to remove.
    let _ = draft.keep();
    Ok(())
}

fn unwritable_folder(folder: &Path, error: &io::Error) -> Fault {
    let shown = folder.display().to_string();
    Fault::of_file(&shown, format!("cannot be written: {error}"), "check the path and its permissions")
}

fn parent_of(folder: &Path) -> &Path {
    folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Looks whether [`make_folder`] can make a folder.
///
/// # Errors
/// It holds something, is no folder, or lies in one that does not exist.
pub fn free_folder(folder: &Path) -> Result<(), Fault> {
    folder_to_fill(folder)?;
    let fault = |error: io::Error| unwritable_folder(folder, &error);
    if folder.exists() && fs::read_dir(folder).map_err(fault)?.next().is_some() {
        let shown = folder.display().to_string();
        return Err(Fault::of_file(&shown, "is not empty", "name a new folder, or empty this one"));
    }
    Ok(())
}

/// Looks whether files can be added to a folder, which need not exist yet.
///
/// # Errors
/// It is no folder, or lies in one that does not exist.
pub fn folder_to_fill(folder: &Path) -> Result<(), Fault> {
    let shown = folder.display().to_string();
    if folder.exists() && !folder.is_dir() {
        return Err(Fault::of_file(&shown, "is not a folder", "name a new folder"));
    }
    if !parent_of(folder).is_dir() {
        return Err(Fault::of_file(&shown, "lies in a folder that does not exist", "create that folder first"));
    }
    Ok(())
}

/// Makes each path hold its bytes, or leaves all of them as they were: all bytes are first written to a temporary file,
/// then all are renamed; if one cannot be, those before it get their old contents back.
///
/// A process that is killed between two renames leaves some files new and some old; each is whole.
///
/// # Errors
/// As [`replace`], for each file that cannot be written.
pub fn replace_all(files: &[(&Path, &[u8])]) -> Result<Vec<Written>, Faults> {
    replace_with(files, None, persist)
}

/// As [`replace_all`], and puts a draft in its place with them: all of it, or nothing.
///
/// # Errors
/// Those of [`replace_all`], and of the draft.
pub fn replace_all_and_keep(files: &[(&Path, &[u8])], draft: Option<Draft>) -> Result<(), Faults> {
    let draft = draft.map(Draft::finish).transpose()?;
    replace_with(files, draft, persist).map(drop)
}

fn persist(file: NamedTempFile, target: &Path) -> io::Result<()> {
    file.persist(target).map(drop).map_err(|error| error.error)
}

/// As [`replace_all`], and makes the folders that are missing; on a failure those that it made go again.
///
/// # Errors
/// Those of [`replace_all`]; a folder that cannot be made.
pub fn replace_all_in_folders(files: &[(&Path, &[u8])]) -> Result<Vec<Written>, Faults> {
    let mut made = Vec::new();
    let result = make_folders(files, &mut made).map_err(Faults::from).and_then(|()| replace_all(files));
    if result.is_err() {
        // The innermost were made last. One that somebody else has filled meanwhile stays.
        made.iter().rev().for_each(|folder| drop(fs::remove_dir(folder)));
    }
    result
}

fn make_folders(files: &[(&Path, &[u8])], made: &mut Vec<PathBuf>) -> Result<(), Fault> {
    for (path, _) in files {
        let missing = path.ancestors().skip(1).take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists());
        let mut missing: Vec<&Path> = missing.collect();
        while let Some(folder) = missing.pop() {
            fs::create_dir(folder).map_err(|error| unwritable(path, &error))?;
            made.push(folder.to_owned());
        }
    }
    Ok(())
}

fn replace_with(
    files: &[(&Path, &[u8])],
    last: Option<Staged>,
    mut rename: impl FnMut(NamedTempFile, &Path) -> io::Result<()>,
) -> Result<Vec<Written>, Faults> {
    let (mut staged, mut faults) = (Vec::new(), Vec::new());
    for (path, bytes) in files {
        match stage(path, bytes) {
            Ok(file) => staged.push(file),
            Err(fault) => faults.push(fault),
        }
    }
    let mut staged = Faults(faults).or_ok(staged)?;
    staged.extend(last);
    let mut written = Vec::new();
    for index in 0..staged.len() {
        let Some(new) = staged[index].new.take() else {
            written.push(Written::Unchanged);
            continue;
        };
        if let Err(error) = rename(new, &staged[index].target) {
            let mut faults = vec![unwritable(&staged[index].path, &error)];
            faults.extend(restore(&staged[..index], &written));
            return Err(Faults(faults));
        }
        written.push(Written::Anew);
    }
    Ok(written)
}

/// Gives the files before a failure their old contents back.
fn restore(staged: &[Staged], written: &[Written]) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (file, _) in staged.iter().zip(written).filter(|(_, written)| **written == Written::Anew) {
        let result = match &file.old {
            Some(old) => write_beside(&file.target, old)
                .and_then(|new| new.persist(&file.target).map(drop).map_err(|error| error.error)),
            None => fs::remove_file(&file.target),
        };
        if let Err(error) = result {
            let shown = file.path.display().to_string();
            let reason = format!("is new and cannot be given its old contents back: {error}");
            faults.push(Fault::of_file(&shown, reason, "generate again"));
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect()
    }

    #[test]
    fn a_file_is_replaced_whole_and_nothing_is_left_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.rs");
        assert_eq!(replace(&path, "one"), Ok(Written::Anew));
        assert_eq!(replace(&path, "two"), Ok(Written::Anew));
        assert_eq!(replace(&path, "two"), Ok(Written::Unchanged));
        assert_eq!(fs::read_to_string(&path).unwrap(), "two");
        assert_eq!(names(folder.path()), ["a.rs"]);
    }

    #[test]
    fn a_failed_write_leaves_everything_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("inner")).unwrap();
        assert!(replace(&folder.path().join("inner"), "x").is_err());
        assert!(replace(&folder.path().join("missing/a.rs"), "x").is_err());
        assert_eq!(names(folder.path()), ["inner"]);
    }

    #[test]
    fn of_several_files_all_are_written_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let [old, new, last] = ["old.h", "new.c", "last.rs"].map(|name| folder.path().join(name));
        fs::write(&old, "was here").unwrap();
        let files = [(old.as_path(), b"1".as_slice()), (new.as_path(), b"2"), (last.as_path(), b"3")];
        // Whichever rename fails, nothing has changed and nothing is left over.
        for failing in 0..files.len() {
            let mut count = 0;
            let result = replace_with(&files, None, |file, target| {
                count += 1;
                if count > failing {
                    return Err(io::Error::other("the disk is full"));
                }
                file.persist(target).map(drop).map_err(|error| error.error)
            });
            let faults = result.unwrap_err().to_string();
            assert!(faults.contains("cannot be written: the disk is full") && faults.lines().count() == 1, "{faults}");
            assert_eq!(names(folder.path()), ["old.h"], "rename {failing} failed");
            assert_eq!(fs::read_to_string(&old).unwrap(), "was here");
        }
        assert_eq!(replace_all(&files), Ok(vec![Written::Anew; 3]));
        assert_eq!(replace_all(&files), Ok(vec![Written::Unchanged; 3]));
        assert_eq!(names(folder.path()).len(), 3);
    }

    #[test]
    fn missing_folders_are_made_and_go_again_if_a_file_cannot_be_written() {
        let folder = tempfile::tempdir().unwrap();
        let [deep, other] = ["new/deep/a.rs", "new/b.rs"].map(|name| folder.path().join(name));
        let taken = folder.path().join("taken");
        fs::create_dir(&taken).unwrap();
        let below_file = folder.path().join("file/c.rs");
        fs::write(folder.path().join("file"), "was here").unwrap();
        for failing in [&taken, &below_file] {
            assert!(replace_all_in_folders(&[(&deep, b"1"), (&other, b"2"), (failing, b"3")]).is_err());
            assert!(!folder.path().join("new").exists(), "{}", failing.display());
        }
        assert_eq!(replace_all_in_folders(&[(&deep, b"1"), (&other, b"2")]), Ok(vec![Written::Anew; 2]));
        assert_eq!(fs::read(&deep).unwrap(), b"1");
    }

    #[test]
    fn every_file_that_cannot_be_written_is_named_before_any_is_touched() {
        let folder = tempfile::tempdir().unwrap();
        let good = folder.path().join("a.h");
        let [inner, missing] = ["inner", "missing/a.rs"].map(|name| folder.path().join(name));
        fs::create_dir(&inner).unwrap();
        let faults = replace_all(&[(&good, b"1"), (&inner, b"2"), (&missing, b"3")]).unwrap_err().to_string();
        assert!(
            faults.contains("inner: is not a file") && faults.contains("missing/a.rs: cannot be written"),
            "{faults}"
        );
        assert_eq!(names(folder.path()), ["inner"]);
    }
}

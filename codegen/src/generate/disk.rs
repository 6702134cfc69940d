//! Writing a generated file: all or nothing.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::fault::Fault;

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

/// As [`replace`], for files that are no text.
///
/// # Errors
/// Those of [`replace`].
pub fn replace_bytes(path: &Path, bytes: &[u8]) -> Result<Written, Fault> {
    let shown = path.display().to_string();
    // A symbolic link stays one: the file behind it is replaced.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if target.exists() && !target.is_file() {
        return Err(Fault::of_file(&shown, "is not a file", "name a file to write"));
    }
    if fs::read(&target).is_ok_and(|old| old == bytes) {
        return Ok(Written::Unchanged);
    }
    write_beside(&target, bytes).map_err(|error| {
        // The temporary file's name, which the error may carry, means nothing to the user.
        let cause =
            error.get_ref().and_then(|inner| inner.source()).map_or_else(|| error.to_string(), ToString::to_string);
        Fault::of_file(&shown, format!("cannot be written: {cause}"), "check the folder and its permissions")
    })?;
    Ok(Written::Anew)
}

fn write_beside(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.map_or_else(|| PathBuf::from("."), Path::to_owned);
    let mut builder = tempfile::Builder::new();
    builder.prefix(".pagewise-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // As any new file: the user's mask takes away what it does not grant.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    if let Ok(old) = fs::metadata(target) {
        file.as_file().set_permissions(old.permissions())?;
    }
    file.persist(target).map_err(|error| error.error)?;
    Ok(())
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
}

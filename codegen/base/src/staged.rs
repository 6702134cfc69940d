//! A file on its way to its place: whole in a temporary file beside it.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::fault::Fault;
use crate::scratch;

/// A text on its way into its file.
pub(crate) struct Staged {
    pub(crate) path: PathBuf,
    pub(crate) target: PathBuf,
    /// What the file holds now.
    pub(crate) old: Option<Vec<u8>>,
    /// `None` if the file already holds the text.
    pub(crate) new: Option<NamedTempFile>,
}

impl Staged {
    /// A text that is whole in its temporary file. What `target` holds is not read, since it may be large: so it can
    /// only be renamed last, when nothing can fail any more that would ask for it.
    pub(crate) fn last(path: PathBuf, target: PathBuf, new: NamedTempFile) -> Self {
        Self { path, target, old: None, new: Some(new) }
    }
}

/// The file to write. A symbolic link stays one: the file behind it is replaced.
pub(crate) fn target(path: &Path) -> Result<PathBuf, Fault> {
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if target.exists() && !target.is_file() {
        return Err(Fault::of_file(&path.display().to_string(), "is not a file", "name a file to write"));
    }
    if fs::symlink_metadata(&target).is_ok_and(|found| found.is_symlink()) {
        let remedy = "make what it leads to, or remove it";
        return Err(Fault::of_file(&path.display().to_string(), "is a link that leads nowhere", remedy));
    }
    Ok(target)
}

pub(crate) fn stage(path: &Path, bytes: &[u8]) -> Result<Staged, Fault> {
    let target = target(path)?;
    let old = fs::read(&target).ok();
    let new = match &old {
        Some(old) if old == bytes => None,
        _ => Some(write_beside(&target, bytes).map_err(|error| unwritable(path, &error))?),
    };
    Ok(Staged { path: path.to_owned(), target, old, new })
}

pub(crate) fn unwritable(path: &Path, error: &io::Error) -> Fault {
    // The temporary file's name, which the error may carry, means nothing to the user.
    let cause = error.to_string();
    let cause = cause.split(" at path ").next().unwrap_or_default();
    let shown = path.display().to_string();
    Fault::of_file(&shown, format!("cannot be written: {cause}"), "check the folder and its permissions")
}

pub(crate) fn write_beside(target: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.map_or_else(|| PathBuf::from("."), Path::to_owned);
    let mut file = scratch::file_in(&folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    if let Ok(old) = fs::metadata(target) {
        file.as_file().set_permissions(old.permissions())?;
    }
    Ok(file)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn a_link_that_leads_nowhere_is_not_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(folder.path().join("gone"), &link).unwrap();
        assert!(target(&link).unwrap_err().reason.contains("leads nowhere"));
        fs::write(folder.path().join("gone"), "there").unwrap();
        assert_eq!(target(&link).unwrap(), fs::canonicalize(folder.path().join("gone")).unwrap());
    }
}

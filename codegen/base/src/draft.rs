//! A file that is written piece by piece and takes its place only when it is whole.

use std::io::{BufWriter, IntoInnerError, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::fault::Fault;
use crate::staged::{Staged, target, unwritable, write_beside};

/// A temporary file beside the one that it is to become. Dropped before
/// [`crate::disk::replace_all_and_keep`] takes it, it leaves nothing behind.
#[derive(Debug)]
pub struct Draft {
    path: PathBuf,
    target: PathBuf,
    file: BufWriter<NamedTempFile>,
}

impl Draft {
    /// Begins it.
    ///
    /// # Errors
    /// The folder is missing or not writable, or `path` is not a file.
    pub fn begin(path: &Path) -> Result<Self, Fault> {
        let target = target(path)?;
        let file = write_beside(&target, &[]).map_err(|error| unwritable(path, &error))?;
        Ok(Self { path: path.to_owned(), target, file: BufWriter::new(file) })
    }

    /// Writes more of it.
    ///
    /// # Errors
    /// The disk is full, for example.
    pub fn write(&mut self, text: &str) -> Result<(), Fault> {
        self.file.write_all(text.as_bytes()).map_err(|error| unwritable(&self.path, &error))
    }

    /// All of it on the disk, ready to take its place.
    pub(crate) fn finish(self) -> Result<Staged, Fault> {
        let Self { path, target, file } = self;
        let whole = file.into_inner().map_err(IntoInnerError::into_error).and_then(|file| {
            file.as_file().sync_all()?;
            Ok(file)
        });
        match whole {
            Ok(file) => Ok(Staged::last(path, target, file)),
            Err(error) => Err(unwritable(&path, &error)),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn a_draft_takes_its_place_whole_or_leaves_everything_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        fs::write(&path, "old").unwrap();
        let mut draft = Draft::begin(&path).unwrap();
        draft.write("half of it").unwrap();
        drop(draft);
        assert_eq!(fs::read_to_string(&path).unwrap(), "old");
        let mut draft = Draft::begin(&path).unwrap();
        draft.write("all ").unwrap();
        draft.write("of it").unwrap();
        crate::disk::replace_all_and_keep(&[], Some(draft)).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "all of it");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left over");
        assert!(Draft::begin(folder.path()).is_err() && Draft::begin(&folder.path().join("no/a")).is_err());
    }
}

//! Memory of a chip in a file: locked while it is used, replaced whole.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

fn in_use(path: &Path) -> io::Error {
    io::Error::other(format!("{}: the image is in use by another process", path.display()))
}

/// An image that this process holds.
#[derive(Debug)]
pub(crate) struct Image {
    path: PathBuf,
    /// Holds the lock, on the file that is at `path` now.
    file: File,
    /// What the file holds.
    stored: Vec<u8>,
}

impl Image {
    /// Locks an image and reads it; one that does not exist is made, erased.
    ///
    /// # Errors
    ///
    /// The image has another size, or another process uses it. It stays as it was.
    pub(crate) fn take(path: &Path, capacity: u32) -> io::Result<Self> {
        let refusal = |error: io::Error| io::Error::other(format!("{}: {error}", path.display()));
        if !path.exists() {
            let erased = vec![0xFF; capacity as usize];
            let made = write_beside(path, &erased).and_then(|file| publish(path, &file.0, true).map(|()| file.1));
            match made {
                // Another process was faster: take what it made.
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(refusal(error)),
                Ok(file) => return Ok(Self { path: path.to_owned(), file, stored: erased }),
            }
        }
        let mut file = OpenOptions::new().read(true).open(path).map_err(refusal)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(in_use(path)),
            Err(TryLockError::Error(error)) => return Err(refusal(error)),
        }
        let there = fs::metadata(path).map_err(refusal)?;
        let held = file.metadata().map_err(refusal)?;
        if (there.dev(), there.ino()) != (held.dev(), held.ino()) {
            // Its holder replaced it between our opening and our locking.
            return Err(in_use(path));
        }
        if held.len() != u64::from(capacity) {
            let text = format!("{}: the image has {} bytes, the chip has {capacity}", path.display(), held.len());
            return Err(io::Error::other(text));
        }
        let mut stored = Vec::new();
        file.read_to_end(&mut stored).map_err(refusal)?;
        Ok(Self { path: path.to_owned(), file, stored })
    }

    /// What the file holds.
    pub(crate) fn stored(&self) -> &[u8] {
        &self.stored
    }

    /// Replaces the file whole, if the bytes differ from what it holds.
    ///
    /// # Errors
    ///
    /// The reason in words; the file stays as it was.
    pub(crate) fn store(&mut self, bytes: &[u8]) -> Result<(), String> {
        if bytes == self.stored {
            return Ok(());
        }
        let replaced = write_beside(&self.path, bytes).and_then(|(temporary, file)| {
            if let Ok(old) = self.file.metadata() {
                file.set_permissions(old.permissions())?;
            }
            publish(&self.path, &temporary, false)?;
            Ok(file)
        });
        self.file = replaced.map_err(|error| format!("{}: {error}", self.path.display()))?;
        self.stored = bytes.to_vec();
        Ok(())
    }
}

/// A locked temporary file with these bytes in the folder of `path`.
fn write_beside(path: &Path, bytes: &[u8]) -> io::Result<(PathBuf, File)> {
    let mut name = std::ffi::OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(format!(".{}", std::process::id()));
    let temporary = path.with_file_name(name);
    // What an earlier process of the same number left behind when it was killed.
    let _ = fs::remove_file(&temporary);
    let mut file = OpenOptions::new().write(true).read(true).create_new(true).open(&temporary)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all()).and_then(|()| Ok(file.try_lock()?));
    if let Err(error) = written {
        let _ = fs::remove_file(&temporary);
        return Err(error);
    }
    Ok((temporary, file))
}

/// Gives a temporary file its name; a `new` one must not replace anything.
fn publish(path: &Path, temporary: &Path, new: bool) -> io::Result<()> {
    let done = if new { fs::hard_link(temporary, path) } else { fs::rename(temporary, path) };
    if new || done.is_err() {
        let _ = fs::remove_file(temporary);
    }
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_image_is_made_kept_and_locked_through_replacements() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.bin");
        let mut image = Image::take(&path, 16).unwrap();
        assert_eq!(image.stored(), [0xFF; 16]);
        for round in 0..3 {
            assert!(Image::take(&path, 16).unwrap_err().to_string().contains("in use by another process"));
            image.store(&[round; 16]).unwrap();
            assert_eq!(fs::read(&path).unwrap(), [round; 16]);
        }
        drop(image);
        assert_eq!(Image::take(&path, 16).unwrap().stored(), [2; 16]);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn an_image_of_another_size_is_refused_untouched() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.bin");
        fs::write(&path, [1, 2, 3]).unwrap();
        assert!(Image::take(&path, 16).unwrap_err().to_string().contains("has 3 bytes, the chip has 16"));
        assert_eq!(fs::read(&path).unwrap(), [1, 2, 3]);
    }

    #[test]
    fn a_failed_replacement_leaves_the_image() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("inner");
        fs::create_dir(&inner).unwrap();
        let path = inner.join("a.bin");
        let mut image = Image::take(&path, 16).unwrap();
        fs::rename(&inner, folder.path().join("gone")).unwrap();
        assert!(image.store(&[0; 16]).is_err());
        assert_eq!(fs::read(folder.path().join("gone/a.bin")).unwrap(), [0xFF; 16]);
    }
}

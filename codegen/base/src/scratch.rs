//! Temporary files and folders beside what they are to become.
//!
//! They go when they are dropped, and with the process when a signal ends it ([`remove_all`]). A process that was killed
//! leaves them; the next one that works in their folder sweeps away those that nobody holds a lock on.
//!
//! ```
//! let folder = tempfile::tempdir()?;
//! let draft = pagewise_base::scratch::file_in(folder.path())?;
//! assert_eq!(std::fs::read_dir(folder.path())?.count(), 1);
//! drop(draft);
//! assert_eq!(std::fs::read_dir(folder.path())?.count(), 0);
//! # Ok::<(), std::io::Error>(())
//! ```

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tempfile::{Builder, NamedTempFile, TempDir};

/// How their names begin. What must not be lost has another name.
const PREFIX: &str = ".pagewise-tmp-";
/// A younger one may have been made and not yet locked.
const YOUNG: Duration = Duration::from_secs(1);

/// What this process has made, and the folders that it has swept.
#[derive(Default)]
struct Made {
    paths: Vec<PathBuf>,
    swept: Vec<PathBuf>,
}

static MADE: Mutex<Made> = Mutex::new(Made { paths: Vec::new(), swept: Vec::new() });

fn made() -> MutexGuard<'static, Made> {
    // What another thread left when it panicked is a list of paths all the same.
    MADE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A temporary folder.
#[derive(Debug)]
pub struct Folder {
    folder: TempDir,
    /// Held for its lock, where a folder can be locked.
    _lock: Option<File>,
}

impl Folder {
    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// It has another name now, or is to stay.
    pub fn keep(self) -> PathBuf {
        self.folder.keep()
    }
}

/// A new file in a folder, with the permissions of any new file.
///
/// # Errors
/// The folder is missing or not writable.
pub fn file_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut made = made();
    sweep_once(&mut made, folder);
    let mut builder = Builder::new();
    builder.prefix(PREFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The user's mask takes away what it does not grant.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let file = builder.tempfile_in(folder)?;
    // Where nothing can be locked, nothing is swept.
    let _ = file.as_file().try_lock();
    made.paths.push(file.path().to_owned());
    Ok(file)
}

/// A new folder in a folder, with the permissions of any new folder.
///
/// # Errors
/// The folder around it is missing or not writable.
pub fn folder_in(parent: &Path) -> io::Result<Folder> {
    let mut made = made();
    sweep_once(&mut made, parent);
    let mut builder = Builder::new();
    builder.prefix(PREFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o777));
    }
    let folder = builder.tempdir_in(parent)?;
    let lock = if cfg!(unix) { File::open(folder.path()).ok().filter(|file| file.try_lock().is_ok()) } else { None };
    made.paths.push(folder.path().to_owned());
    Ok(Folder { folder, _lock: lock })
}

/// Removes everything that this process has made and not given another name. It can make nothing any more afterwards:
/// for the moment before it ends.
pub fn remove_all() {
    let made = made();
    for path in &made.paths {
        // What has another name by now is not found.
        let _ = if path.is_dir() { remove_folder(path) } else { fs::remove_file(path) };
    }
    std::mem::forget(made);
}

/// Another thread may still be filling it: under another name it is not found by that one any more.
fn remove_folder(path: &Path) -> io::Result<()> {
    let mut gone = path.as_os_str().to_owned();
    gone.push("-gone");
    let gone = PathBuf::from(gone);
    fs::rename(path, &gone)?;
    fs::remove_dir_all(gone)
}

fn sweep_once(made: &mut Made, folder: &Path) {
    if !made.swept.iter().any(|swept| swept == folder) {
        made.swept.push(folder.to_owned());
        sweep(folder);
    }
}

/// Removes what processes that are gone have left in a folder. What cannot be read or removed stays.
fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let Ok(about) = entry.path().symlink_metadata() else { continue };
        let ours = entry.file_name().to_string_lossy().starts_with(PREFIX);
        let old = about.modified().is_ok_and(|at| at.elapsed().is_ok_and(|age| age > YOUNG));
        if !ours || !old || about.is_symlink() {
            continue;
        }
        let Ok(file) = File::open(entry.path()) else { continue };
        if file.try_lock().is_ok() {
            let _ = if about.is_dir() { fs::remove_dir_all(entry.path()) } else { fs::remove_file(entry.path()) };
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::SystemTime;

    use super::*;

    fn age(path: &Path) {
        let file = File::open(path).unwrap();
        file.set_modified(SystemTime::now() - Duration::from_secs(60)).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn what_a_killed_process_left_is_swept_and_what_is_in_use_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let (live_file, live_folder) = (file_in(path).unwrap(), folder_in(path).unwrap());
        let left = path.join(".pagewise-tmp-left");
        fs::write(&left, "x").unwrap();
        fs::create_dir(path.join(".pagewise-tmp-inner")).unwrap();
        fs::write(path.join(".pagewise-tmp-inner/image.bin"), "x").unwrap();
        fs::write(path.join(".pagewise-tmp-young"), "x").unwrap();
        let others = [".pagewise-old-images", "pagewise-tmp-x", "notes"];
        for other in others {
            fs::write(path.join(other), "x").unwrap();
        }
        for entry in fs::read_dir(path).unwrap().flatten() {
            if !entry.file_name().to_string_lossy().contains("young") {
                age(&entry.path());
            }
        }
        sweep(path);
        assert!(!left.exists() && !path.join(".pagewise-tmp-inner").exists());
        assert!(live_file.path().exists() && live_folder.path().exists() && path.join(".pagewise-tmp-young").exists());
        assert!(others.iter().all(|other| path.join(other).exists()));
    }
}

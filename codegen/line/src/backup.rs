//! What a part held before it was written: a file that is on the disk before the first write.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use super::journal::file::sync_folder;
use super::wanted::digest;
use pagewise_base::scratch;

/// A backup on the disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backup {
    /// Where it is.
    pub path: PathBuf,
    /// SHA-256 of its bytes.
    pub sha256: String,
}

/// Name of the backup of a unit: its own name with everything unusual replaced, and the digest of the contents. The same
/// contents get the same name; other contents never replace them.
#[must_use]
pub fn file_name(unit: &str, sha256: &str) -> String {
    format!("{}-{}.bin", safe_name(unit), &sha256[..16.min(sha256.len())])
}

/// The name of a unit as part of a file's name: everything unusual replaced.
#[must_use]
pub fn safe_name(unit: &str) -> String {
    let usual = |c: char| if c.is_ascii_alphanumeric() || "._-".contains(c) { c } else { '_' };
    let name: String = unit.chars().map(usual).take(80).collect();
    name.trim_start_matches('.').to_owned()
}

/// Keeps `contents` in `folder`, which is made if it does not exist, and puts file and folder on the disk.
///
/// # Errors
/// The reason in words; nothing may be written to the part then.
pub fn save(folder: &Path, unit: &str, contents: &[u8]) -> Result<Backup, String> {
    let sha256 = digest(contents);
    let path = folder.join(file_name(unit, &sha256));
    let shown = path.display().to_string();
    write(&path, folder, contents).map_err(|error| {
        // The temporary file's name, which the error may carry, means nothing to the user.
        let cause = error.to_string();
        format!("{shown}: the backup cannot be written: {}", cause.split(" at path ").next().unwrap_or_default())
    })?;
    let back = fs::read(&path).map_err(|error| format!("{shown}: the backup cannot be read: {error}"))?;
    if back != contents {
        return Err(format!("{shown}: holds something else than the part"));
    }
    Ok(Backup { path, sha256 })
}

fn write(path: &Path, folder: &Path, contents: &[u8]) -> std::io::Result<()> {
    if path.exists() {
        // Named by its digest: `keep` compares it.
        return Ok(());
    }
    fs::create_dir_all(folder)?;
    let mut file = scratch::file_in(folder)?;
    file.write_all(contents)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    sync_folder(path)?;
    // The folder itself may be new.
    sync_folder(folder)
}

/// Reads a backup that the journal names.
///
/// # Errors
/// The reason in words: it is gone, or it is not what the journal says.
pub fn read(path: &Path, sha256: &str) -> Result<Vec<u8>, String> {
    let shown = path.display();
    let bytes = fs::read(path).map_err(|error| format!("the backup {shown} cannot be read: {error}"))?;
    if digest(&bytes) == sha256 { Ok(bytes) } else { Err(format!("the backup {shown} is not what the journal says")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn backups_are_kept_side_by_side_and_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("new/folder");
        let first = save(&inner, "TI-1", &[1; 32]).unwrap();
        let second = save(&inner, "TI-1", &[2; 32]).unwrap();
        assert_ne!(first.path, second.path);
        assert_eq!(save(&inner, "TI-1", &[1; 32]).unwrap(), first);
        assert_eq!(read(&first.path, &first.sha256).unwrap(), [1; 32]);
        fs::write(&first.path, [3; 32]).unwrap();
        assert!(save(&inner, "TI-1", &[1; 32]).unwrap_err().contains("something else"));
        assert!(read(&first.path, &first.sha256).is_err());
    }

    #[test]
    fn names_of_units_cannot_leave_the_folder() {
        for unit in ["../../x", "/etc/x", "a\\b", "..", ".", "\u{202E}\n", ""] {
            let name = file_name(unit, "0123456789abcdef");
            assert!(!name.contains(['/', '\\']) && !name.starts_with('.'), "{name}");
        }
    }
}

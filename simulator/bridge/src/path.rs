//! Whether a path leads to the device, which need not be there for the kernel.

use std::fs;
use std::path::{Component, Path, PathBuf};

/// The most links that are followed, as in the kernel.
const LINKS: usize = 40;

/// A path from the root without `.`, `..` and doubled slashes. `folder` is what a relative one begins at.
fn plain(folder: &Path, path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in folder.join(path).components() {
        match part {
            Component::ParentDir => _ = out.pop(),
            Component::CurDir => {}
            part => out.push(part),
        }
    }
    out
}

/// Whether a path is that of the device as it is written. Nothing on the disk is looked at, but the working folder for a
/// path that ends in the device's name.
pub(crate) fn names(device: &Path, path: &Path, folder: impl FnOnce() -> Option<PathBuf>) -> bool {
    if path.file_name() != device.file_name() {
        return false;
    }
    let folder = if path.is_absolute() { PathBuf::new() } else { folder().unwrap_or_default() };
    plain(&folder, path) == device
}

/// Whether a path leads to the device through links.
pub(crate) fn leads_to(device: &Path, path: &Path, folder: impl FnOnce() -> Option<PathBuf>) -> bool {
    let folder = if path.is_absolute() { PathBuf::from("/") } else { folder().unwrap_or_default() };
    let (mut left, mut links) = (folder.join(path), 0);
    'again: loop {
        if plain(Path::new("/"), &left) == device {
            return true;
        }
        let mut done = PathBuf::from("/");
        let parts: Vec<PathBuf> = left.components().map(|part| PathBuf::from(part.as_os_str())).collect();
        for (at, part) in parts.iter().enumerate().skip(1) {
            if part == Path::new("..") {
                done.pop();
                continue;
            }
            if let Ok(target) = fs::read_link(done.join(part)) {
                links += 1;
                if links > LINKS {
                    return false;
                }
                left = parts[at + 1..].iter().fold(done.join(target), |path, part| path.join(part));
                continue 'again;
            }
            done.push(part);
        }
        return done == device;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_device_is_found_however_it_is_written() {
        let device = Path::new("/dev/i2c-7");
        let here = || Some(PathBuf::from("/dev/input"));
        for path in ["/dev/i2c-7", "//dev/i2c-7", "/dev/./i2c-7", "/dev/../dev//i2c-7", "../i2c-7"] {
            assert!(names(device, Path::new(path), here), "{path}");
        }
        for path in ["/dev/i2c-70", "/dev/i2c-7/x", "i2c-7", "/i2c-7", ""] {
            assert!(!names(device, Path::new(path), here), "{path}");
        }
    }

    #[test]
    fn links_lead_to_a_device_that_is_not_there() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let device = Path::new("/dev/i2c-none");
        std::os::unix::fs::symlink(device, at("bus")).unwrap();
        std::os::unix::fs::symlink("bus", at("again")).unwrap();
        std::os::unix::fs::symlink("/dev", at("devices")).unwrap();
        std::os::unix::fs::symlink("loop", at("loop")).unwrap();
        for good in ["bus", "again", "devices/i2c-none", "devices/../dev/i2c-none"] {
            assert!(leads_to(device, &at(good), || None), "{good}");
        }
        assert!(leads_to(device, Path::new("again"), || Some(folder.path().to_owned())));
        for bad in ["loop", "nothing", "devices/i2c-other", "devices"] {
            assert!(!leads_to(device, &at(bad), || None), "{bad}");
        }
    }
}

//! Python's `smbus2` (from PyPI), an unmodified client library of Linux buses.

use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;
use std::{env, fs};

use crate::tools;

const RELEASE: &str = "smbus2==0.6.1";

/// Interpreter and the folder in which `smbus2` is installed; `None` with a printed reason where it cannot be.
///
/// # Panics
///
/// If it cannot be and `PAGEWISE_TOOLS` is `required`.
#[must_use]
pub fn installed() -> Option<&'static (PathBuf, PathBuf)> {
    static FOUND: OnceLock<Option<(PathBuf, PathBuf)>> = OnceLock::new();
    FOUND.get_or_init(install).as_ref()
}

fn install() -> Option<(PathBuf, PathBuf)> {
    let python = tools::need("python3", "python3")?;
    // The interpreter itself, not a script that starts it.
    let asked = Command::new(&python).args(["-c", "import sys; print(sys.executable)"]).output().ok()?;
    let python = PathBuf::from(String::from_utf8(asked.stdout).ok()?.trim());
    let place = env::current_exe().ok()?.ancestors().nth(3)?.join("tmp");
    fs::create_dir_all(&place).ok()?;
    let folder = place.join(RELEASE.replace("==", "-"));
    if !folder.join("smbus2").is_dir() {
        let fresh = tempfile::tempdir_in(&place).ok()?;
        let pip = Command::new(&python)
            .args(["-m", "pip", "install", "--quiet", "--no-deps", "--disable-pip-version-check", "--target"])
            .arg(fresh.path())
            .arg(RELEASE)
            .output();
        if !pip.as_ref().is_ok_and(|pip| pip.status.success()) {
            let said =
                pip.map_or_else(|error| error.to_string(), |pip| String::from_utf8_lossy(&pip.stderr).into_owned());
            tools::missing(&format!("{RELEASE} cannot be installed (Debian package python3-pip): {said}"));
            return None;
        }
        // Another run may have been faster; then its folder is as good.
        let _ = fs::rename(fresh.path(), &folder);
    }
    Some((python, folder))
}

//! Readers and renderers from PyPI, installed once into the folder of this test's own build.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::{fs, thread};

use serde_json::Value;

use crate::tools;

/// An interpreter that finds some packages.
#[derive(Debug, Clone)]
pub struct Python {
    interpreter: PathBuf,
    packages: PathBuf,
}

impl Python {
    /// An interpreter with these releases (`name==version`), installed under `folder`, or `None` with a printed reason.
    ///
    /// # Panics
    ///
    /// If something is missing and `PAGEWISE_TOOLS` is `required`, or the folder cannot be written.
    #[must_use]
    pub fn with(folder: &Path, releases: &[&str]) -> Option<Self> {
        let interpreter = tools::need("python3", "python3")?;
        let packages = folder.join(format!("python-{}", releases.join("-").replace("==", "-")));
        if !packages.is_dir() {
            let fresh = tempfile::tempdir_in(folder).expect("the folder of the build can be written");
            let pip = Command::new(&interpreter)
                .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--target"])
                .arg(fresh.path())
                .args(releases)
                .output();
            if !pip.as_ref().is_ok_and(|pip| pip.status.success()) {
                let said =
                    pip.map_or_else(|error| error.to_string(), |pip| String::from_utf8_lossy(&pip.stderr).into_owned());
                tools::missing(&format!("{releases:?} cannot be installed (Debian package python3-pip): {said}"));
                return None;
            }
            // Another run may have been faster; then its folder is as good.
            let _ = fs::rename(fresh.keep(), &packages);
        }
        Some(Self { interpreter, packages })
    }

    /// The folder that the packages are in.
    #[must_use]
    pub fn packages(&self) -> &Path {
        &self.packages
    }

    /// Runs a script with `input` on its standard input, and reads one JSON document from its standard output.
    ///
    /// # Panics
    ///
    /// If the script fails or prints something else.
    #[must_use]
    pub fn ask(&self, script: &Path, arguments: &[&str], input: &str) -> Value {
        let mut child = Command::new(&self.interpreter)
            .arg(script)
            .args(arguments)
            .env("PYTHONPATH", &self.packages)
            .env("PYTHONIOENCODING", "utf-8")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python starts");
        let mut stdin = child.stdin.take().expect("a pipe was asked for");
        let input = input.to_owned();
        // Beside the reading, so that neither side waits for the other with a full pipe.
        let writer = thread::spawn(move || stdin.write_all(input.as_bytes()));
        let output = child.wait_with_output().expect("Python ends");
        assert!(output.status.success(), "{} failed", script.display());
        writer.join().expect("the writer does not panic").expect("Python reads its input");
        serde_json::from_slice(&output.stdout).expect("the script prints one JSON document")
    }
}

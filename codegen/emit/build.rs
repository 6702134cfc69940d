//! Embeds the driver's sources.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let root = env::var("CARGO_MANIFEST_DIR").map_err(io::Error::other)?;
    let project = Path::new(&root).join("../..");
    let mut driver = files_below(&project, "driver/src")?;
    driver.push(("driver/README.md".into(), project.join("driver/README.md")));
    for licence in ["LICENSE-APACHE", "LICENSE-MIT"] {
        driver.push((format!("driver/{licence}"), project.join(licence)));
    }
    embed("embedded_driver.rs", driver)
}

/// Files of a folder and the folders in it: the path from `root`, with slashes, and the whole one.
fn files_below(root: &Path, folder: &str) -> io::Result<Vec<(String, PathBuf)>> {
    println!("cargo::rerun-if-changed={}", root.join(folder).display());
    let mut files = Vec::new();
    for entry in fs::read_dir(root.join(folder))? {
        let path = entry?.path();
        let name = format!("{folder}/{}", path.file_name().unwrap_or_default().to_string_lossy());
        if path.is_dir() {
            files.extend(files_below(root, &name)?);
        } else {
            files.push((name, path));
        }
    }
    Ok(files)
}

/// Writes a list of names and texts, which is included where it is needed.
fn embed(list: &str, mut files: Vec<(String, PathBuf)>) -> io::Result<()> {
    files.sort();
    let mut text = String::from("&[\n");
    for (name, path) in &files {
        text.push_str(&format!("({name:?}, include_str!({:?})),\n", path.display().to_string()));
    }
    text.push_str("]\n");
    let out = env::var("OUT_DIR").map_err(io::Error::other)?;
    fs::write(Path::new(&out).join(list), text)
}

//! Embeds every card of `parts/`.

use std::path::Path;
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let root = env::var("CARGO_MANIFEST_DIR").map_err(io::Error::other)?;
    let folder = Path::new(&root).join("parts");
    println!("cargo::rerun-if-changed={}", folder.display());
    let mut cards = Vec::new();
    for entry in fs::read_dir(&folder)? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.ends_with(".toml") {
            cards.push(format!("(\"parts/{name}\", include_str!({:?})),\n", path.display().to_string()));
        }
    }
    cards.sort();
    let out = env::var("OUT_DIR").map_err(io::Error::other)?;
    fs::write(Path::new(&out).join("embedded_cards.rs"), format!("&[\n{}]\n", cards.concat()))
}

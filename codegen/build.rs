//! Embeds every card of `parts/` in the program.

use std::path::Path;
use std::{env, fs, io};

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=parts");
    let root = env::var("CARGO_MANIFEST_DIR").map_err(io::Error::other)?;
    let mut files = Vec::new();
    for entry in fs::read_dir(Path::new(&root).join("parts"))? {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            files.push(path);
        }
    }
    files.sort();
    let mut list = String::from("&[\n");
    for path in &files {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        list.push_str(&format!("(\"parts/{name}\", include_str!({:?})),\n", path.display().to_string()));
    }
    list.push_str("]\n");
    let out = env::var("OUT_DIR").map_err(io::Error::other)?;
    fs::write(Path::new(&out).join("embedded_cards.rs"), list)
}

//! The crate's own files as it offers them are those of its folder.
#![cfg(feature = "sources")]

use std::fs;
use std::path::Path;

use pagewise_driver::sources::{FILES, MANIFEST};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Files below a folder of the crate, as paths from the crate's folder.
fn below(folder: &str, found: &mut Vec<String>) {
    for entry in fs::read_dir(root().join(folder)).unwrap() {
        let entry = entry.unwrap();
        let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() { below(&name, found) } else { found.push(name) }
    }
}

#[test]
fn the_list_is_the_folder() {
    let mut there = ["LICENSE-APACHE", "LICENSE-MIT", "README.md"].map(str::to_owned).to_vec();
    below("src", &mut there);
    there.sort();
    let listed: Vec<&str> = FILES.iter().map(|(path, _)| *path).collect();
    assert_eq!(listed, there, "src/sources.rs lists other files than there are");
    for (path, text) in FILES {
        assert_eq!(*text, fs::read_to_string(root().join(path)).unwrap(), "{path}");
    }
    assert_eq!(MANIFEST, fs::read_to_string(root().join("Cargo.toml")).unwrap());
}

#[test]
fn the_manifest_stands_alone() {
    let taken = |section: &str| {
        let (_, rest) =
            MANIFEST.split_once(&format!("\n[{section}]\n")).unwrap_or_else(|| panic!("no section {section}"));
        rest.lines().take_while(|line| !line.starts_with('[')).filter(|line| line.contains("workspace")).count()
    };
    assert_eq!([taken("dependencies"), taken("features")], [0, 0]);
    let package = MANIFEST.split("\n[").next().unwrap();
    assert!(!package.lines().any(|line| line.contains("workspace = true")), "{package}");
    assert!(taken("dev-dependencies") > 0, "the canary: this would be found");
}

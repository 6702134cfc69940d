//! A small crate whose tests miss what is known beforehand: nothing else is called missed.

use std::fs;
use std::path::Path;
use std::process::Command;

const LIBRARY: &str = r#"//! Small.

pub const fn twice(n: u32) -> u32 {
    n * 2
}

pub const fn thrice(n: u32) -> u32 {
    n * 3
}

pub const NINE: u32 = thrice(3);

pub fn sign(n: i32) -> &'static str {
    match n {
        0 => "zero",
        n if n < 0 => "minus",
        _ => "plus",
    }
}

pub fn untested(a: bool, b: bool) -> bool {
    a && b
}

pub fn half_tested(a: bool, b: bool) -> bool {
    a || !b
}

pub fn count(n: u32) -> u32 {
    let mut i = 0;
    while i < n {
        i += 1;
    }
    i
}
"#;

const TESTS: &str = r#"use small::*;

#[test]
fn numbers() {
    assert_eq!((twice(4), thrice(4), NINE, count(5)), (8, 12, 9, 5));
}

#[test]
fn signs() {
    assert_eq!([-1, 0, 2].map(sign), ["minus", "zero", "plus"]);
}

#[test]
fn halves() {
    assert!(half_tested(true, true) && half_tested(true, false));
}
"#;

fn git(folder: &Path, arguments: &[&str]) {
    assert!(Command::new("git").args(arguments).current_dir(folder).status().unwrap().success());
}

#[test]
fn what_a_suite_misses_is_named_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir_all(at("small/src")).unwrap();
    fs::create_dir_all(at("small/tests/it")).unwrap();
    fs::write(at("Cargo.toml"), "[workspace]\nmembers = [\"small\"]\nresolver = \"3\"\n").unwrap();
    fs::write(at("small/Cargo.toml"), "[package]\nname = \"small\"\nversion = \"0.1.0\"\nedition = \"2024\"\n")
        .unwrap();
    fs::write(at("small/src/lib.rs"), LIBRARY).unwrap();
    fs::write(at("small/tests/it/main.rs"), TESTS).unwrap();
    fs::write(at(".gitignore"), "target/\n").unwrap();
    git(folder.path(), &["init", "--quiet"]);
    let run = Command::new(env!("CARGO_BIN_EXE_pagewise-mutants"))
        .args(["small", "--at-least", "81", "--root"])
        .arg(folder.path())
        .output()
        .unwrap();
    let told = String::from_utf8(run.stdout).unwrap();
    let mut missed: Vec<&str> =
        told.lines().filter_map(|line| line.split_once("lib.rs:").map(|(_, what)| what)).collect();
    missed.sort_unstable();
    let expected = [
        // Behind the arm of 0 the two are the same.
        "16:16: replace < with <= in sign",
        "22:5: replace untested -> bool with false",
        "22:5: replace untested -> bool with true",
        "22:7: replace && with || in untested",
        "26:10: delete ! in half_tested",
        "26:5: replace half_tested -> bool with true",
    ];
    assert_eq!(missed, expected, "{told}{}", String::from_utf8_lossy(&run.stderr));
    // Those of what a constant needs are built alone, and a loop that does not end is caught.
    assert!(
        told.contains(" 4 need a build of their own")
            && told.contains("24 of 30 that compile")
            && run.status.code() == Some(1),
        "{told}"
    );
}

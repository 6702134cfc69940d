//! Runs the program as a user does.
#![allow(dead_code, reason = "each test file uses its own part")]

pub mod answers;
pub mod line;

use std::path::Path;
use std::process::{Command, Output};

/// What a run said and how it ended.
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Run {
    pub fn json(&self) -> serde_json::Value {
        let answer = serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {}", self.out));
        answers::hold(&self.out, &answer);
        answer
    }
}

pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_pagewise"));
    command
        .args(arguments)
        .env_remove("COLUMNS")
        .env_remove("NO_COLOR")
        .env_remove("CLICOLOR_FORCE")
        .env_remove("CLICOLOR");
    command
}

pub fn run(arguments: &[&str]) -> Run {
    finished(command(arguments).output().expect("the program starts"))
}

pub fn finished(output: Output) -> Run {
    Run {
        code: output.status.code().expect("the program ends by itself"),
        out: String::from_utf8(output.stdout).expect("output is UTF-8"),
        err: String::from_utf8(output.stderr).expect("messages are UTF-8"),
    }
}

/// Asserts that the input was refused with one message that says `part`, and that nothing else was said.
pub fn refused(arguments: &[&str], part: &str) {
    let run = run(arguments);
    assert_eq!(run.code, 2, "{arguments:?}: {}{}", run.out, run.err);
    assert!(run.err.contains(part), "{arguments:?}: {}", run.err);
    assert!(!run.err.contains("panicked"), "{arguments:?}: {}", run.err);
    assert_eq!(run.out, "", "{arguments:?}");
    // The parser of the command line adds hints below its message.
    let hint =
        |line: &str| line.is_empty() || line.starts_with("For more information") || line.starts_with("  [possible");
    let said = run.err.lines().filter(|line| !hint(line));
    assert_eq!(said.count(), 1, "{arguments:?}: {}", run.err);
}

/// A folder with one card of the user's own.
pub fn own_card(fields: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder for a test");
    write(folder.path(), "own.toml", fields);
    folder
}

pub fn write(folder: &Path, name: &str, text: &str) {
    std::fs::write(folder.join(name), text).expect("a file for a test");
}

/// A folder with these files, and the path of a name in it.
pub fn in_folder(files: &[(&str, &str)]) -> (tempfile::TempDir, impl Fn(&str) -> String + use<>) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        write(folder.path(), name, text);
    }
    let at = folder.path().to_owned();
    (folder, move |name: &str| at.join(name).display().to_string())
}

/// A complete card with this name, maker and remark, as TOML.
pub fn card(name: &str) -> String {
    format!(
        "id = \"own\"\nname = {name}\nmaker = {name}\nkind = \"eeprom\"\ndocument = {name}\nnotes = {name}\n\
         capacity_bits = 32768\npage_bytes = 32\n"
    )
}

//! A folder in which a line works, with one simulated chip.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use serde_json::Value;

use super::{Run, command, finished};

pub struct Line {
    pub folder: tempfile::TempDir,
}

impl Line {
    /// A folder with an image of `length` bytes.
    pub fn new(length: usize) -> Self {
        let line = Self { folder: tempfile::tempdir().unwrap() };
        fs::write(line.path("TI-1.bin"), image(1, length)).unwrap();
        line
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn run(&self, arguments: &[&str]) -> Run {
        finished(command(arguments).current_dir(self.folder.path()).stdin(Stdio::null()).output().unwrap())
    }

    pub fn program(&self, more: &[&str]) -> Run {
        self.run(&[&["program", "--simulate", "TI-1.bin", "--part", "24lc32a", "--memory", "chip.bin"], more].concat())
    }

    pub fn chip(&self) -> Vec<u8> {
        fs::read(self.path("chip.bin")).unwrap()
    }

    pub fn events(&self) -> Vec<String> {
        let text = fs::read_to_string(self.path("line.jsonl")).unwrap_or_default();
        let records = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        records.map(|record| record["event"].as_str().unwrap().to_owned()).collect()
    }
}

pub fn image(seed: u8, length: usize) -> Vec<u8> {
    (0..length).map(|n| (n as u8).wrapping_mul(31).wrapping_add((n >> 8) as u8) ^ seed).collect()
}

pub fn over(bytes: &[u8], capacity: usize) -> Vec<u8> {
    let mut all = vec![0xFF; capacity];
    all[..bytes.len()].copy_from_slice(bytes);
    all
}

/// One line of text, blanks as one, without the mark of a simulated part.
pub fn flat(run: &Run) -> String {
    format!("{} {}", unmarked(&run.out), run.err).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The lines of an answer about a simulated part: every one of them says that it is one.
pub fn unmarked(text: &str) -> String {
    text.lines().map(|line| line.strip_prefix("simulated  ").expect("marked").to_owned() + "\n").collect()
}

impl Line {
    /// Whole lines of the journal of a run that is under way.
    pub fn events_so_far(&self) -> usize {
        fs::read(Path::new(&self.path("line.jsonl"))).map_or(0, |text| text.iter().filter(|b| **b == b'\n').count())
    }
}

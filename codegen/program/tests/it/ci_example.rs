//! The example CI file: its commands run as they stand there, once for each job.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The commands of the file, and how many jobs run the first of them.
fn commands() -> (Vec<String>, usize) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ci/swap-check.yml");
    let text = fs::read_to_string(file).unwrap();
    let commands = text.lines().filter_map(|line| line.trim().strip_prefix("- pagewise ")).map(str::to_owned).collect();
    let jobs = text.lines().find_map(|line| line.trim().strip_prefix("parallel: ")).unwrap();
    (commands, jobs.parse().unwrap())
}

fn run(folder: &Path, command: &str, job: usize, jobs: usize) -> Output {
    let program = PathBuf::from(env!("CARGO_BIN_EXE_pagewise"));
    Command::new("sh")
        .args(["-c", &format!("\"$PAGEWISE\" {command}")])
        .env("PAGEWISE", program)
        .env("CI_NODE_INDEX", job.to_string())
        .env("CI_NODE_TOTAL", jobs.to_string())
        .current_dir(folder)
        .output()
        .expect("a shell")
}

#[test]
fn the_jobs_of_the_example_write_what_the_last_one_puts_together() {
    let (commands, jobs) = commands();
    let [judge, decide] = commands.as_slice() else { panic!("{commands:?}") };
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("boards")).unwrap();
    let boards = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards")).unwrap();
    let mut count = 0;
    for board in boards.map(|entry| entry.unwrap().path()) {
        fs::copy(&board, folder.path().join("boards").join(board.file_name().unwrap())).unwrap();
        count += 1;
    }
    let mut cases = 0;
    for job in 1..=jobs {
        let output = run(folder.path(), judge, job, jobs);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        let junit = fs::read_to_string(folder.path().join(format!("share-{job}.xml"))).unwrap();
        cases += junit.matches("<testsuite ").count();
        assert!(folder.path().join(format!("share-{job}.html")).is_file());
    }
    assert_eq!(cases, count, "a suite for each board");
    let output = run(folder.path(), decide, 1, 1);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let lines = fs::read_to_string(folder.path().join("fleet.jsonl")).unwrap();
    assert_eq!(lines.lines().count(), count + 1, "a header and a line for each board");
}

//! The simulator in the browser is the simulator: the kept WebAssembly answers as the host does, and so does a fresh build.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use pagewise_player::talk::Desk;
use pagewise_tests::tools;
use serde_json::Value;

use crate::questions::{PROGRAMS, SEED, digest, questions};

fn on_the_host(questions: &[Value]) -> Vec<String> {
    let mut desk = Desk::default();
    let answers: Vec<String> = questions.iter().map(|question| desk.ask(question.to_string().as_bytes())).collect();
    let played = answers.iter().filter(|answer| answer.contains("\"steps\":")).count();
    assert_eq!(played as u64, PROGRAMS, "every program is one");
    answers.iter().map(|answer| digest(answer)).collect()
}

fn in_wasm(node: &Path, wasm: &Path, questions: &[Value]) -> Vec<String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/classroom/ask.mjs");
    let folder = tempfile::tempdir().unwrap();
    let input = folder.path().join("questions.jsonl");
    let lines: Vec<String> = questions.iter().map(Value::to_string).collect();
    fs::write(&input, lines.join("\n")).unwrap();
    let run = Command::new(node)
        .arg(script)
        .arg(wasm)
        .stdin(fs::File::open(input).unwrap())
        .stderr(Stdio::inherit())
        .output();
    let run = run.unwrap();
    assert!(run.status.success(), "node fails");
    String::from_utf8(run.stdout).unwrap().lines().map(str::to_owned).collect()
}

fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/classroom/chip.wasm")
}

fn compare(wasm: &Path) {
    let Some(node) = tools::need("node", "nodejs") else { return };
    let questions: Vec<Value> = questions().collect();
    let (host, page) = (on_the_host(&questions), in_wasm(&node, wasm, &questions));
    assert_eq!(host.len(), page.len());
    for (number, question) in questions.iter().enumerate() {
        let what = format!("seed {SEED}, question {number}: {question}");
        assert_eq!(host[number], page[number], "{what}\nPAGEWISE_BLESS=1 with `fresh` builds the kept file anew");
    }
}

#[test]
fn the_kept_file_answers_as_the_host_does() {
    compare(&kept());
}

/// Builds for minutes, hence a step of its own (`bash .ci/run web`). With `PAGEWISE_BLESS=1` the kept file is replaced.
#[test]
#[ignore = "builds the simulator anew for another target"]
fn a_fresh_build_answers_as_the_host_does() {
    let Some(fresh) = tools::wasm() else { return };
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        fs::copy(&fresh, kept()).unwrap();
    }
    compare(&fresh);
}

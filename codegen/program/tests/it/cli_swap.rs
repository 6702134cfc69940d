//! `pagewise swap` with the example boards, and with input that is wrong.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards")
}

fn swap(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pagewise")).arg("swap").args(arguments).output().expect("the program runs")
}

fn json(arguments: &[&str]) -> Value {
    let output = swap(&[arguments, &["--json"]].concat());
    serde_json::from_slice(&output.stdout).expect("one JSON document")
}

/// Writes a board file made from an example with one line changed.
fn changed(name: &str, from: &str, to: &str) -> PathBuf {
    let text = fs::read_to_string(examples().join("flow-meter.toml")).unwrap();
    assert!(text.contains(from), "the example has `{from}`");
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::write(&path, text.replacen(from, to, 1)).unwrap();
    path
}

/// Rules and simulation agree, or nothing was run and nothing is said of agreement.
fn agreed(judgement: &Value) {
    let spared = judgement["evidence"]["new"]["spared"].as_bool().unwrap();
    assert_eq!(
        judgement["agree"],
        if spared { Value::Null } else { Value::Bool(true) },
        "{} as {} : rules {}, simulation {} ({})",
        judgement["board"],
        judgement["candidate"],
        judgement["verdict"],
        judgement["evidence"]["verdict"],
        judgement["evidence"]["new"]["first_loss"]
    );
}

/// Part 24LC1025 works only with A2 at the supply; elsewhere nothing is promised, so nothing is run.
#[test]
fn what_rules_alone_decide_is_said_and_leaves_the_count() {
    let (board, part) = (examples().join("rack-clock.toml"), "24lc1025");
    let output = swap(&[board.to_str().unwrap(), "--to", part]);
    let text = String::from_utf8_lossy(&output.stdout).replace("\n                 ", " ");
    assert!(text.contains("not run: a pin is not tied as the part's sheet demands"), "{text}");
    let text = text.replace('\n', " ");
    assert!(text.contains("agree on 0 of 0. Rules alone decided 1 more"), "{text}");
    let answer = json(&[board.to_str().unwrap(), "--to", part]);
    assert_eq!(answer["boards"][0]["judgements"][0]["agree"], Value::Null);
    assert_eq!((&answer["fleet"]["agree"], &answer["fleet"]["rules_alone"]), (&Value::from(0), &Value::from(1)));
}

#[test]
fn the_example_boards_cover_every_verdict_and_at_least_ten_hazards() {
    let output = swap(&[examples().to_str().unwrap(), "--accept-conditions"]);
    assert_eq!(output.status.code(), Some(0), "every example board has a candidate that serves");
    let answer = json(&[examples().to_str().unwrap()]);
    let boards = answer["boards"].as_array().unwrap();
    assert!(boards.len() >= 8, "{} boards", boards.len());
    let (mut verdicts, mut hazards) = (Vec::new(), Vec::new());
    for judgement in boards.iter().flat_map(|board| board["judgements"].as_array().unwrap()) {
        agreed(judgement);
        let fitted = &judgement["evidence"]["old"]["serves"];
        let broken = judgement["board"].as_str().unwrap().contains("sensor hub");
        assert_eq!(*fitted, !broken, "the fitted part of {}", judgement["board"]);
        verdicts.push(judgement["verdict"].as_str().unwrap().to_owned());
        let findings = judgement["findings"].as_array().unwrap().iter();
        hazards.extend(findings.filter_map(|finding| finding["hazard"].as_str().map(str::to_owned)));
    }
    for verdict in ["drop-in", "reconfigure", "rework", "reject"] {
        assert!(verdicts.iter().any(|found| found == verdict), "no board shows {verdict}");
    }
    hazards.sort();
    hazards.dedup();
    assert!(hazards.len() >= 10, "only {hazards:?}");
}

#[test]
fn rules_and_simulation_agree_for_every_example_board_and_every_card() {
    let answer = json(&[examples().to_str().unwrap(), "--all"]);
    let mut count = 0;
    for judgement in
        answer["boards"].as_array().unwrap().iter().flat_map(|board| board["judgements"].as_array().unwrap())
    {
        count += 1;
        agreed(judgement);
    }
    assert!(count >= 8 * 90, "{count} judgements");
}

#[test]
fn a_verdict_names_what_it_rests_on() {
    // The sheet of this part states a typical write cycle only, and the firmware polls for at most 10 ms.
    let board = examples().join("coin-cell-tag.toml");
    let output = swap(&[board.to_str().unwrap(), "--to", "24fc64"]);
    let text = String::from_utf8(output.stdout).unwrap();
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let expected = "drop-in, provided that the write cycle is at most 10 ms (not stated in the sheet read)";
    assert!(words.contains(expected), "{text}");
    assert_eq!(output.status.code(), Some(0));
}

#[test]
fn the_exit_code_follows_the_verdict() {
    let board = examples().join("valve-driver.toml");
    let board = board.to_str().unwrap();
    for (arguments, code) in [
        (&[board, "--to", "at24c256c", "--accept", "drop-in"][..], 0),
        (&[board, "--to", "24lc64"][..], 0),
        (&[board, "--to", "24lc64", "--accept", "drop-in"][..], 1),
        (&[board, "--to", "24lc02b"][..], 1),
    ] {
        assert_eq!(swap(arguments).status.code(), Some(code), "{arguments:?}");
    }
}

/// A drop-in that rests on a condition is not usable unless conditions are granted.
#[test]
fn a_condition_is_granted_by_its_own_flag_alone() {
    let board = examples().join("coin-cell-tag.toml");
    let drop_in = [board.to_str().unwrap(), "--to", "24fc64", "--accept", "drop-in"];
    for (more, code) in [(&[][..], 1), (&["--accept-conditions"], 0)] {
        let arguments = [&drop_in[..], more].concat();
        assert_eq!(swap(&arguments).status.code(), Some(code), "{more:?}");
        let answer = json(&arguments);
        assert_eq!(answer["accept_conditions"], !more.is_empty());
        assert_eq!(answer["usable"], code == 0);
    }
    // At its worst it asks for a setting.
    assert_eq!(swap(&drop_in[..3]).status.code(), Some(0));
}

#[test]
fn bad_board_files_are_refused_with_file_line_field_and_reason() {
    for (name, from, to, message) in [
        ("unknown.toml", "fitted = \"24LC32A\"", "fitted = \"24LC3Z\"", "`fitted`: no card is called `24LC3Z`"),
        ("field.toml", "scl_khz", "scl_mhz", "`bus.scl_mhz`: unknown field"),
        ("range.toml", "supply_v = 3.3", "supply_v = 33", "`bus.supply_v`: 33 is out of range"),
        ("word.toml", "wp = \"gnd\"", "wp = \"adrift\"", "`straps.wp`: `adrift` is not known"),
        ("overlap.toml", "offset = 0x040", "offset = 0x03f", "overlaps the region `identity`"),
        ("syntax.toml", "[bus]", "[bus", "not valid TOML"),
        ("empty.toml", "length = 64", "length = 0", "0 is out of range"),
    ] {
        let path = changed(name, from, to);
        let output = swap(&[path.to_str().unwrap()]);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{name}: {errors}");
        assert!(errors.contains(message) && errors.contains(name), "{name}: {errors}");
        assert!(output.stdout.is_empty(), "{name}");
    }
}

#[test]
fn missing_files_and_unknown_parts_are_told_apart() {
    let output = swap(&["no-such-board.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("no-such-board.toml: cannot be read"));
    let board = examples().join("flow-meter.toml");
    let output = swap(&[board.to_str().unwrap(), "--to", "at24c32x"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("did you mean at24c32"));
}

#[test]
fn all_faults_of_all_board_files_come_at_once() {
    let first = changed("first.toml", "scl_khz = 400", "scl_khz = 0");
    let second = changed("second.toml", "word_address_bytes = 2", "word_address_bytes = 9");
    let output = swap(&[first.to_str().unwrap(), second.to_str().unwrap()]);
    let errors = String::from_utf8(output.stderr).unwrap();
    assert!(errors.contains("first.toml") && errors.contains("second.toml"), "{errors}");
}

/// Escape, OSC, C1 and bidirectional characters in every text of a board file: none reaches a terminal, in any form.
#[test]
fn texts_of_a_board_file_cannot_steer_the_terminal() {
    let steer = "a\\u001b]0;b\\u0007c\\u009b31md\\u202ee\\u001b[45mf";
    let text = fs::read_to_string(examples().join("valve-driver.toml")).unwrap();
    let text = text
        .replace("Tamarind", steer)
        .replace("\"identity\"", &format!("\"{steer}\""))
        .replace("curves", &format!("{steer}2"));
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("steering.toml");
    fs::write(&path, text).unwrap();
    let path = path.to_str().unwrap();
    for more in
        [&["--color", "always"][..], &["--color", "never"], &["--full", "--color", "always"], &["--all"], &["--json"]]
    {
        let output = swap(&[&[path][..], more].concat());
        let shown = String::from_utf8(output.stdout).unwrap();
        let named = shown.contains("]0;b") || more.contains(&"--all");
        assert!(named, "{more:?}: the region is named: {shown}");
        assert!(!shown.contains("\u{1b}[45m"), "{more:?}: a colour of the file's own");
        let ours = |c: char| c == '\n' || c == '\u{1b}' && more.contains(&"always");
        let raw = shown.chars().find(|c| !ours(*c) && (c.is_control() || *c == '\u{202e}'));
        assert_eq!(raw, None, "{more:?}: {shown}");
    }
}

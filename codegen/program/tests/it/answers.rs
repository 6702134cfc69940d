//! Every command's `--json` answer is as `schema --answer` says. Further calls are held against it wherever a test reads
//! an answer.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::cli_support::{answers, run, write};
use clap::CommandFactory;
use pagewise::command::Program;
use serde_json::{Value, json};

/// Commands whose answers are read by other tests: they need recordings, or a Linux program on a bus.
const ELSEWHERE: [&str; 3] = ["observe", "bridge", "trial"];

#[test]
fn every_answer_is_as_its_schema_says() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").display().to_string();
    let example = |name: &str| format!("{examples}/{name}");
    let (board, stock) = (example("boards/valve-driver.toml"), example("stock.csv"));
    let (layout, units) = (example("layouts/field-gateway.toml"), example("layouts/field-gateway-units.csv"));
    let lines = at("results.jsonl");
    write(folder.path(), "unit.bin", "unit");
    write(folder.path(), "program.txt", "S 50W 00 10 80..AF P\nwait 10 ms\nS 50W 00 10 Sr 50R 80..AF P\n");
    fs::create_dir(folder.path().join("handed-in")).unwrap();
    write(&folder.path().join("handed-in"), "one.txt", "lesson page-wrap\n");
    let calls: Vec<Vec<String>> = [
        vec!["parts", "--density", "32k"],
        vec!["parts", "--new", "NEW1"],
        vec!["show", "24lc64"],
        vec!["generate", "24lc64", "24lc32a"],
        vec!["swap", &board, "--stock", &stock, "--lines", &lines],
        vec!["order", &lines, "--since", &lines],
        vec!["merge", &lines],
        vec!["budget", &board, "--to", "24lc64"],
        vec!["marking", "24LC256T-I/SN", "23LC1024"],
        vec!["survey", "--boards", "2"],
        vec!["boards", &board, "-o", &at("boards.csv")],
        vec!["decide", &board, "-o", &at("decisions")],
        vec!["decide", "--check", &at("decisions")],
        vec!["exposed", "24LC256", &board, "--stock", &stock],
        vec!["invent", "-o", &at("fleet"), "--boards", "2"],
        vec!["hazards"],
        vec!["hazards", "page-wrap"],
        vec!["hazards", "page-wrap", "--part", "24lc64", "--step"],
        vec!["play", &at("program.txt"), "--part", "24lc32a", "--beside", "24lc01b"],
        vec!["classroom", "-o", &at("page.html")],
        vec!["mark", &at("handed-in"), "-o", &at("marks.csv")],
        vec![
            "program",
            &at("unit.bin"),
            "--part",
            "24lc32a",
            "--simulate",
            "--memory",
            &at("chip.bin"),
            "--journal",
            &at("line.jsonl"),
            "--backups",
            &at("backups"),
        ],
        vec!["verify", &at("unit.bin"), "--part", "24lc32a", "--simulate", "--memory", &at("chip.bin")],
        vec!["dump", "--part", "24lc32a", "--simulate", "--memory", &at("chip.bin"), "-o", &at("dump.bin")],
        vec!["measure", "--part", "24lc32a", "--simulate"],
        vec!["measure", "--for", &board, "--to", "24lc64"],
        vec!["model", "24lc64"],
        vec!["layout", &layout, "--part", "at24c02d"],
        vec!["image", &layout, "--part", "at24c02d", "--units", &units, "-o", &at("images")],
        vec!["move", &at("dump.bin"), "--from", "24lc32a", "--to", "24lc64", "-o", &at("moved")],
        vec!["inspect", &at("dump.bin")],
        vec!["schema", "board"],
        vec!["schema", "--answer", "swap"],
        vec!["completions", "bash"],
        vec!["manual", "-o", &at("man")],
        vec!["help", "json"],
        // Bad input has the same shape everywhere.
        vec!["show", "no-such-part"],
    ]
    .map(|call| call.into_iter().map(str::to_owned).collect())
    .to_vec();
    let mut answered = BTreeSet::new();
    for call in &calls {
        let words: Vec<&str> = call.iter().map(String::as_str).chain(["--json"]).collect();
        let told = run(&words);
        let answer: Value =
            serde_json::from_str(&told.out).unwrap_or_else(|error| panic!("{call:?}: {error} {}", told.err));
        answers::hold(&told.out, &answer);
        let bad = call[1..] == ["no-such-part"];
        assert_eq!(answer.get("faults").is_some(), bad, "{call:?}: {answer:#}");
        if !bad {
            answered.insert(call[0].clone());
        }
    }
    let with_schema: BTreeSet<String> = pagewise::schema::answering().map(str::to_owned).collect();
    let elsewhere = ELSEWHERE.map(str::to_owned);
    assert_eq!(answered.into_iter().chain(elsewhere).collect::<BTreeSet<_>>(), with_schema);
    let all: BTreeSet<String> = Program::command().get_subcommands().map(|it| it.get_name().to_owned()).collect();
    assert_eq!(with_schema, all, "every command has a schema");
    for command in ELSEWHERE {
        answers::strict(command);
    }
}

/// The canary: a field too many, one too few, and one of another type are refused.
#[test]
fn a_schema_refuses_what_is_no_answer() {
    let validator = jsonschema::validator_for(&answers::strict("invent")).unwrap();
    let answer =
        json!({ "pagewise": "0.1.0", "command": "invent", "folder": "f", "count": 1, "seed": 7, "files": ["a"] });
    assert!(validator.is_valid(&answer));
    let changed = |key: &str, value: Option<Value>| {
        let mut answer = answer.clone();
        match value {
            Some(value) => answer[key] = value,
            None => drop(answer.as_object_mut().unwrap().remove(key)),
        }
        validator.is_valid(&answer)
    };
    assert!(!changed("surplus", Some(json!(1))) && !changed("count", None) && !changed("files", Some(json!("a"))));
}

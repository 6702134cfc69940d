//! `schema`, `completions` and `manual` as a user runs them: they cover every command.

use std::fs;

use crate::cli_support::{refused, run};

/// The commands that the program's help lists.
fn commands() -> Vec<String> {
    let help = run(&["--help"]).out;
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    // Descriptions run on in lines that are indented further.
    let first = list.lines().filter(|line| !line.starts_with("   "));
    let words = first.filter_map(|line| line.split_whitespace().next());
    words.filter(|word| *word != "help").map(str::to_owned).collect()
}

#[test]
fn a_schema_of_each_kind_is_printed_or_written() {
    for kind in ["card", "board", "layout", "columns", "decision"] {
        let printed = run(&["schema", kind]);
        assert_eq!((printed.code, printed.err.as_str()), (0, ""));
        let schema: serde_json::Value = serde_json::from_str(&printed.out).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        assert_eq!(run(&["schema", kind, "--json"]).json()["schema"], schema);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shape.json");
        assert_eq!(run(&["schema", kind, "-o", path.to_str().unwrap()]).code, 0);
        assert_eq!(fs::read_to_string(path).unwrap(), printed.out);
    }
    refused(&["schema", "card", "-o", "/missing/folder/x.json"], "cannot be written");
}

/// What the shell offers in the place of the last word.
fn offered(words: &[&str]) -> Vec<String> {
    let mut all = vec!["--", "pagewise"];
    all.extend(words);
    let mut command = crate::cli_support::command(&all);
    command.env("COMPLETE", "bash").env("_CLAP_IFS", "\n").env("_CLAP_COMPLETE_COMP_TYPE", "9");
    command.env("_CLAP_COMPLETE_INDEX", words.len().to_string()).env("_CLAP_COMPLETE_SPACE", "true");
    let output = crate::cli_support::finished(command.output().unwrap());
    assert_eq!((output.code, output.err.as_str()), (0, ""), "{words:?}");
    output.out.lines().map(|line| line.trim().to_owned()).collect()
}

#[test]
fn every_shell_gets_a_script_that_asks_the_program() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = run(&["completions", shell]);
        assert_eq!((script.code, script.err.as_str()), (0, ""));
        assert!(script.out.contains("COMPLETE") && script.out.contains("pagewise"), "{shell}: {}", script.out);
    }
    let all = offered(&[""]);
    for command in commands() {
        assert!(all.contains(&command), "{command} is not completed: {all:?}");
    }
    assert!(offered(&["show", "24lc64", "--st"]).contains(&"--straps".to_owned()), "options are, too");
}

#[test]
fn parts_hazards_verdicts_and_topics_are_completed() {
    let all_begin = |words: &[&str], some: &str| {
        let offered = offered(words);
        let typed = words.last().unwrap().to_lowercase();
        assert!(offered.contains(&some.to_owned()), "{words:?}: {offered:?}");
        assert!(offered.iter().all(|word| word.starts_with(&typed)), "{words:?}: {offered:?}");
    };
    all_begin(&["show", "24LC2"], "24lc256");
    all_begin(&["program", "x.bin", "--part", "at24c0"], "at24c02d");
    all_begin(&["swap", "x.toml", "--to", "at24c0"], "at24c02d");
    all_begin(&["hazards", "page"], "page-wrap");
    all_begin(&["swap", "x.toml", "--accept", "re"], "reconfigure");
    all_begin(&["decide", "x.toml", "--accept", ""], "drop-in");
    all_begin(&["parts", "--package", "sot"], "sot-23-5");
    all_begin(&["help", "cond"], "conditions");
    all_begin(&["schema", "--answer", "ord"], "order");
}

#[test]
fn files_are_completed_by_their_kind() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a.toml", "b.csv", "c.jsonl", "d.bin", "e.html", "f.sr"] {
        fs::write(folder.path().join(name), "").unwrap();
    }
    fs::create_dir(folder.path().join("inner")).unwrap();
    let typed = format!("{}/", folder.path().display());
    let names = |words: &[&str]| -> Vec<String> {
        let offered = offered(&[words, &[&typed]].concat());
        let mut names: Vec<String> = offered.iter().map(|path| path.trim_start_matches(&typed).to_owned()).collect();
        names.sort();
        names
    };
    assert_eq!(names(&["swap"]), ["a.toml", "b.csv", "inner/"]);
    assert_eq!(names(&["swap", "x.toml", "--stock"]), ["b.csv", "inner/"]);
    assert_eq!(names(&["swap", "x.toml", "--recording"]), ["b.csv", "f.sr", "inner/"]);
    assert_eq!(names(&["order"]), ["c.jsonl", "inner/"]);
    assert_eq!(names(&["program"]), ["c.jsonl", "d.bin", "inner/"]);
    assert_eq!(names(&["layout"]), ["a.toml", "inner/"]);
    assert_eq!(names(&["boards", "x.csv", "--output"]), ["inner/"]);
}

#[test]
fn there_is_a_manual_page_for_the_program_and_for_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let shown = folder.path().to_str().unwrap();
    let wrote = run(&["manual", "--output", shown]);
    assert_eq!((wrote.code, wrote.err.as_str()), (0, ""));
    for command in commands() {
        let page = fs::read_to_string(folder.path().join(format!("pagewise-{command}.1"))).unwrap();
        assert!(page.contains(".TH ") && page.contains("\\-\\-json"), "{command}: {page}");
    }
    let program = fs::read_to_string(folder.path().join("pagewise.1")).unwrap();
    assert!(commands().iter().all(|command| program.contains(command.as_str())), "{program}");
    let chapters = pagewise::chapters::chapters().len();
    // One for the program, and one for `help` itself.
    let pages = commands().len() + 2 + chapters;
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), pages);
    let made = folder.path().join("new");
    assert_eq!(run(&["manual", "--output", made.to_str().unwrap()]).code, 0);
    assert_eq!(fs::read_dir(&made).unwrap().count(), pages);
    refused(&["manual", "--output", made.join("pagewise.1").to_str().unwrap()], "is not a folder");
}

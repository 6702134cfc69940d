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
    for kind in ["card", "board", "layout"] {
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

#[test]
fn completions_of_every_shell_name_every_command() {
    let commands = commands();
    assert!(commands.len() >= 10 && commands.iter().any(|command| command == "swap"), "{commands:?}");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = run(&["completions", shell]);
        assert_eq!((script.code, script.err.as_str()), (0, ""));
        for command in &commands {
            assert!(script.out.contains(command), "{shell} does not complete {command}");
        }
        assert!(script.out.contains("straps"), "{shell} completes options, too");
    }
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
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), commands().len() + 1);
    let made = folder.path().join("new");
    assert_eq!(run(&["manual", "--output", made.to_str().unwrap()]).code, 0);
    assert_eq!(fs::read_dir(&made).unwrap().count(), commands().len() + 1);
    refused(&["manual", "--output", made.join("pagewise.1").to_str().unwrap()], "is not a folder");
}

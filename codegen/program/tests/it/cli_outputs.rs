//! What options that write want of their folder: everywhere the same.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::cli_support::{run, write};

/// What a command does with a folder that holds something of the user's.
#[derive(PartialEq)]
enum Full {
    /// Refuses it.
    Refuses,
    /// Adds files to it.
    Adds,
}

use Full::{Adds, Refuses};

/// Every option that names a folder to write, with a call that works; `@` is the folder.
const FOLDERS: &[(&str, &str, Full)] = &[
    ("boards", "boards board.toml --output @", Refuses),
    ("invent", "invent --boards 1 --output @", Refuses),
    ("swap", "swap board.toml --to 24fc256 --accept-conditions --accept rework --pages @", Refuses),
    ("merge", "merge lines.jsonl --pages @", Refuses),
    ("image", "image layout.toml --part 24lc32a --units units.csv --output @", Refuses),
    ("move", "move A.bin --from 24lc02b --to 24lc32a --output @", Refuses),
    ("generate", "generate 24lc64 --crate @", Refuses),
    ("decide", "decide board.toml --to 24lc256 --output @", Adds),
    ("budget", "budget board.toml --svg @", Adds),
    ("manual", "manual --output @", Adds),
];

/// Folders that hold what a run with a part on a bus needs: see the tests of the line and of measuring.
const OF_A_BUS: [(&str, &str); 3] = [("program", "--backups"), ("measure", "--saved"), ("measure", "--restore")];

/// Every `--output FILE`, as `@`.
const FILES: &[(&str, &str)] = &[
    ("model", "model 24lc64 --output @"),
    ("schema", "schema board --output @"),
    ("generate", "generate 24lc64 --output @"),
    ("classroom", "classroom --output @"),
    ("mark", "mark class --output @"),
    ("boards", "boards board.toml --output @"),
];

/// Those that need a part on a bus.
const FILES_OF_A_BUS: [&str; 2] = ["dump", "measure"];

/// Options of all commands whose value is a `FOLDER`, and commands with an `--output FILE`, as their help has them.
fn in_the_help() -> (BTreeSet<(String, String)>, BTreeSet<String>) {
    let (mut folders, mut files) = (BTreeSet::new(), BTreeSet::new());
    let help = run(&["--help"]).out;
    let listed =
        help.lines().filter_map(|line| line.strip_prefix("  ")).filter(|line| line.starts_with(char::is_alphabetic));
    for command in listed.filter_map(|line| line.split_whitespace().next()) {
        for line in run(&[command, "--help"]).out.lines() {
            let mut words = line.split_whitespace().skip_while(|word| !word.starts_with("--"));
            let (Some(option), Some(value)) = (words.next(), words.next()) else { continue };
            match (option, value) {
                (_, "<FOLDER>") => drop(folders.insert((command.to_owned(), option.to_owned()))),
                ("--output", "<FILE>") => drop(files.insert(command.to_owned())),
                _ => {}
            }
        }
    }
    (folders, files)
}

#[test]
fn every_option_that_writes_is_tried_here() {
    let (folders, files) = in_the_help();
    let option = |call: &str| call.split(' ').rev().nth(1).unwrap().to_owned();
    let mut tried: BTreeSet<(String, String)> =
        FOLDERS.iter().map(|(command, call, _)| ((*command).to_owned(), option(call))).collect();
    tried.extend(OF_A_BUS.map(|(command, option)| (command.to_owned(), option.to_owned())));
    assert_eq!(folders, tried);
    let tried: BTreeSet<&str> = FILES
        .iter()
        .map(|(command, _)| *command)
        .filter(|command| *command != "boards")
        .chain(FILES_OF_A_BUS)
        .collect();
    assert_eq!(files.iter().map(String::as_str).collect::<BTreeSet<_>>(), tried);
}

/// A folder with what the calls name.
fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples");
    fs::copy(examples.join("boards/valve-driver.toml"), at.join("board.toml")).unwrap();
    write(at, "layout.toml", "name = \"l\"\n[[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 8\n");
    write(at, "units.csv", "unit,serial\nA1,S-1\n");
    fs::write(at.join("A.bin"), [7; 256]).unwrap();
    fs::create_dir(at.join("class")).unwrap();
    write(&at.join("class"), "a.json", "{}");
    let lines = at.join("lines.jsonl").display().to_string();
    let board = at.join("board.toml").display().to_string();
    assert_ne!(run(&["swap", &board, "--to", "24fc256", "--lines", &lines]).code, 2);
    folder
}

fn call(folder: &Path, call: &str, output: &str) -> (i32, String) {
    let arguments: Vec<&str> = call.split(' ').map(|word| if word == "@" { output } else { word }).collect();
    let output = crate::cli_support::command(&arguments).current_dir(folder).output().unwrap();
    let run = crate::cli_support::finished(output);
    (run.code, run.err)
}

#[test]
fn a_folder_is_made_in_one_that_exists_and_what_is_in_it_stays() {
    let desk = desk();
    let at = desk.path();
    write(at, "file", "mine");
    for (command, line, full) in FOLDERS {
        let said = |output: &str, part: &str| {
            let (code, err) = call(at, line, output);
            assert!(code == 2 && err.contains(&format!("{output}: {part}")), "{line} {output}: {code} {err}");
        };
        said("none/new", "lies in a folder that does not exist; create that folder first");
        assert!(!at.join("none").exists(), "{command}");
        said("file", "is not a folder; name a new folder");
        assert_eq!(fs::read_to_string(at.join("file")).unwrap(), "mine", "{command}");
        let full_folder = format!("full-{command}");
        fs::create_dir(at.join(&full_folder)).unwrap();
        write(&at.join(&full_folder), "own.txt", "mine");
        let (code, err) = call(at, line, &full_folder);
        let count = fs::read_dir(at.join(&full_folder)).unwrap().count();
        assert_eq!((code == 2, count == 1), (*full == Refuses, *full == Refuses), "{line}: {code} {err}");
        assert_eq!(fs::read_to_string(at.join(&full_folder).join("own.txt")).unwrap(), "mine", "{command}");
        // A new one, and an empty one.
        for output in [format!("new-{command}"), format!("empty-{command}")] {
            if output.starts_with("empty") {
                fs::create_dir(at.join(&output)).unwrap();
            }
            let (code, err) = call(at, line, &output);
            assert!(code != 2 && fs::read_dir(at.join(&output)).unwrap().count() > 0, "{line} {output}: {code} {err}");
        }
    }
}

#[test]
fn a_file_is_replaced_and_its_folder_must_exist() {
    let desk = desk();
    let at = desk.path();
    fs::create_dir(at.join("folder.csv")).unwrap();
    for (command, line) in FILES {
        let (code, err) = call(at, line, "none/new.csv");
        assert!(code == 2 && err.contains("none/new.csv: cannot be written"), "{line}: {code} {err}");
        assert!(!at.join("none").exists(), "{command}");
        let (code, err) = call(at, line, "folder.csv");
        assert!(code == 2 && err.contains("folder.csv: is not a file; name a file to write"), "{line}: {code} {err}");
        let file = format!("{command}.csv");
        write(at, &file, "before");
        let (code, err) = call(at, line, &file);
        assert!(code != 2 && fs::read_to_string(at.join(&file)).unwrap() != "before", "{line}: {code} {err}");
    }
}

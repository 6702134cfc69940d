//! The README and the program's manual show what the program prints: every `console` block is run and compared.

use std::fs;
use std::path::Path;
use std::process::Command;

/// The blocks are run one after the other in a folder of their own that holds the examples, so that a later one finds
/// what an earlier one wrote. `PAGEWISE_BLESS=1` writes the outputs anew.
#[test]
fn every_console_block_is_what_the_program_prints() {
    ["README.md", "codegen/program/README.md"].into_iter().for_each(shows_what_the_program_prints);
}

fn shows_what_the_program_prints(page: &str) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let readme = fs::read_to_string(root.join(page)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    copy(&root.join("examples"), &folder.path().join("examples"));
    let mut printed = String::new();
    let mut parts = readme.split("```console\n");
    printed += parts.next().unwrap();
    let mut blocks = 0;
    for part in parts {
        let (block, after) = part.split_once("```").expect("a block ends");
        let call = block.lines().next().unwrap();
        let arguments = call.strip_prefix("$ pagewise ").expect("a block starts with a call of pagewise");
        let output = Command::new(env!("CARGO_BIN_EXE_pagewise"))
            .args(arguments.split_whitespace())
            .current_dir(&folder)
            .env_remove("COLUMNS")
            .output()
            .unwrap();
        let messages = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.code() != Some(2), "`pagewise {arguments}` is refused: {messages}");
        printed += &format!("```console\n{call}\n{}```{after}", String::from_utf8(output.stdout).unwrap());
        blocks += 1;
    }
    assert!(blocks > 1, "{page} shows no output");
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        fs::write(root.join(page), &printed).unwrap();
    } else {
        same(page, &readme, &printed);
    }
}

fn same(page: &str, readme: &str, printed: &str) {
    let changes = similar::TextDiff::from_lines(readme, printed).unified_diff().to_string();
    assert!(changes.is_empty(), "{page} shows something else than the program prints:\n{changes}");
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            // Only a build folder is large.
            if !path.ends_with("target") {
                copy(&path, &target);
            }
        } else {
            fs::copy(&path, &target).unwrap();
        }
    }
}

#[test]
fn every_command_of_the_program_stands_in_its_manual() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let help = Command::new(env!("CARGO_BIN_EXE_pagewise")).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let commands = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    // What stands further in is the rest of a wrapped description.
    for line in commands.lines().filter(|line| !line.starts_with("   ")) {
        let verb = line.split_whitespace().next().unwrap();
        assert!(verb == "help" || readme.contains(&format!("`pagewise {verb}")), "the manual does not name `{verb}`");
    }
}

/// A page that one wants to read: what is looked for stands in the manuals.
#[test]
fn the_readme_is_short() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../README.md")).unwrap();
    let lines = readme.lines().count();
    assert!(lines <= 180, "README.md has {lines} lines");
}

/// One text in two places: the cautions of the README are the chapter of the manual. `PAGEWISE_BLESS=1` writes them anew.
#[test]
fn the_cautions_are_those_of_the_manual() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let manual = pagewise::chapters::find("cautions").expect("a chapter of the manual").text;
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    let (before, rest) = readme.split_once("## Cautions\n\n").expect("the README has cautions");
    let (_, after) = rest.split_once("\n\n## ").expect("something follows them");
    let held = format!("{before}## Cautions\n\n{manual}\n\n## {after}");
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        fs::write(root.join("README.md"), &held).unwrap();
    } else {
        same("README.md", &readme, &held);
    }
}

#[test]
fn topics_of_the_manual_are_shown_and_have_pages() {
    let folder = tempfile::tempdir().unwrap();
    let pagewise = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_pagewise")).args(arguments).output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let pages = folder.path().join("man");
    pagewise(&["manual", "-o", &pages.display().to_string()]);
    let all = pagewise(&["help"]);
    for topic in
        ["verdicts", "conditions", "board-files", "stock-lists", "decisions", "json", "cautions", "reports", "cards"]
    {
        assert!(all.contains(&format!("  {topic} ")), "`pagewise help` does not list {topic}:\n{all}");
        let text = pagewise(&["help", topic]);
        assert!(text.lines().count() > 4 && text.lines().all(|line| line.chars().count() <= 100), "{text}");
        assert!(pages.join(format!("pagewise-{topic}.7")).is_file(), "{topic} has no page");
    }
    // Two words are one topic, and a command is its own topic.
    assert_eq!(pagewise(&["help", "board", "files"]), pagewise(&["help", "board-files"]));
    assert!(pagewise(&["help", "decide"]).contains("Usage: pagewise decide"));
    crate::cli_support::refused(&["help", "verdcits"], "did you mean verdicts?");
}

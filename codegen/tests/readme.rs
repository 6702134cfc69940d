//! The README shows what the program prints: every `console` block is run and compared.

use std::fs;
use std::path::Path;
use std::process::Command;

#[test]
fn every_console_block_is_what_the_program_prints() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    let mut blocks = 0;
    for block in readme.split("```console\n").skip(1) {
        let block = block.split("```").next().unwrap();
        let (call, expected) = block.split_once('\n').unwrap();
        let arguments = call.strip_prefix("$ pagewise ").expect("a block starts with a call of pagewise");
        let output = Command::new(env!("CARGO_BIN_EXE_pagewise"))
            .args(arguments.split_whitespace())
            .current_dir(&root)
            .output()
            .unwrap();
        assert_eq!(String::from_utf8(output.stdout).unwrap(), expected, "the output of `pagewise {arguments}` changed");
        blocks += 1;
    }
    assert!(blocks > 0, "the README shows no output");
}

#[test]
fn every_command_of_the_program_stands_in_the_readme() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md")).unwrap();
    let help = Command::new(env!("CARGO_BIN_EXE_pagewise")).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let commands = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    for line in commands.lines() {
        let verb = line.split_whitespace().next().unwrap();
        assert!(verb == "help" || readme.contains(&format!("`pagewise {verb}")), "README does not name `{verb}`");
    }
}

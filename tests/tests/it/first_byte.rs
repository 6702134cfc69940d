//! The front page of the driver's documentation is enough for a first program: its first two blocks of code, as a reader sees
//! them, build in a crate outside of this workspace and store their bytes on a simulated part.

use std::path::Path;
use std::process::Command;
use std::{env, fs};

const FRONT_PAGE: &str = include_str!("../../../driver/src/lib.rs");

/// What stands around the example: a board, whose HAL has an I2C peripheral and a timer. The part writes in 3.5 ms.
const BOARD: &str = r#"#![deny(warnings)]
//! The program of the front page on a simulated board.
use pagewise_simulator::{ChipModel, Rig, RigConfig, Straps};

fn main() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    first_program(rig.bus(), rig.delay()).unwrap();
    assert!(rig.finish().is_empty());
    let memory = rig.memory(chip);
    let changed = memory.iter().enumerate().filter(|(_, byte)| **byte != 0xFF);
    for (at, byte) in changed {
        println!("{at:04x} {}", char::from(*byte));
    }
}

fn first_program<I, D>(i2c: I, delay: D) -> Result<(), pagewise_driver::Error<I::Error>>
where
    I: embedded_hal::i2c::I2c,
    D: embedded_hal::delay::DelayNs,
{
EXAMPLE
    Ok(())
}
"#;

/// The first block of code of a kind, without the lines that rustdoc hides.
fn block(language: &str) -> String {
    let page = FRONT_PAGE.lines().map_while(|line| line.strip_prefix("//!"));
    let mut lines = page.map(|line| line.strip_prefix(' ').unwrap_or(line));
    while let Some(opened) = lines.find(|line| line.starts_with("```")) {
        let text: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
        if opened == format!("```{language}") {
            let hidden = |line: &str| language.is_empty() && (line == "#" || line.starts_with("# "));
            return text.into_iter().filter(|line| !hidden(line)).map(|line| format!("{line}\n")).collect();
        }
    }
    panic!("no block of `{language}` on the front page");
}

#[test]
fn the_front_page_alone_leads_to_the_first_stored_bytes() {
    let (dependencies, example) = (block("toml"), block(""));
    assert!(dependencies.starts_with("[dependencies]\n"), "{dependencies}");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("src")).unwrap();
    // The driver of this project stands in for the published one of that version; the board is not the reader's part.
    let manifest = format!(
        "[package]\nname = \"outside\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n{dependencies}\n\
         [dependencies.pagewise-simulator]\npath = {:?}\ndefault-features = false\n\n\
         [patch.crates-io]\npagewise-driver = {{ path = {:?} }}\n\n[profile.dev]\ndebug = 0\n",
        root.join("simulator"),
        root.join("driver")
    );
    fs::write(folder.path().join("Cargo.toml"), manifest).unwrap();
    fs::write(folder.path().join("src/main.rs"), BOARD.replace("EXAMPLE", &example)).unwrap();
    fs::copy(root.join("Cargo.lock"), folder.path().join("Cargo.lock")).unwrap();
    let output = Command::new(env!("CARGO"))
        .args(["run", "--quiet", "--offline", "--target-dir"])
        .arg(Path::new(env!("CARGO_TARGET_TMPDIR")).join("first-byte"))
        .current_dir(folder.path())
        .env_remove("RUSTFLAGS")
        .env_remove("RUSTC_WRAPPER")
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let stored: String = (0x0100..).zip("serial 0042".chars()).map(|(at, byte)| format!("{at:04x} {byte}\n")).collect();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), stored);
}

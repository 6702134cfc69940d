//! How generated C is made into a program on the simulated bus, and what that program says.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use pagewise_emit::{Part, Record, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::seat::Seat;
use pagewise_tests::tools;

pub const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
pub const STRICT: [&str; 7] = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wshadow"];

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

pub fn succeeded(output: &Output) {
    assert!(output.status.success(), "{}{}", text(&output.stdout), text(&output.stderr));
}

/// Every card, strapped as its number says, at a supply and rate that it allows.
pub fn seats() -> Vec<Seat> {
    let catalogue = Catalogue::embedded().unwrap();
    catalogue.cards().iter().enumerate().map(|(index, card)| Seat::new(card, index as u8 & 7, index as u8)).collect()
}

/// One driver for all parts at once, since the candidates' geometries are data: header and source in `folder`.
pub fn generate(folder: &Path, seats: &[Seat]) {
    let parts = seats.iter().map(|seat| Part::new(&seat.card, seat.pins)).collect();
    let request = Request::new(parts).choosing(Record { offset: 2, bytes: 3 });
    for file in c::driver(&request).unwrap().files {
        fs::write(folder.join(file.name), file.text).unwrap();
    }
    for seat in seats {
        let model = serde_json::to_string(&seat.card.chip_model()).unwrap();
        fs::write(folder.join(format!("{}.json", seat.card.id)), model).unwrap();
    }
}

/// Any access outside an object ends the program with a message.
const SANITIZED: [&str; 2] = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"];

/// The driver, the harness and the simulator.
pub fn compile(cc: &Path, folder: &Path) -> PathBuf {
    let program = folder.join("harness");
    let object = folder.join("driver.o");
    let driver = ["-O1", "-g", "-c", "eeprom.c", "-o", "driver.o"];
    succeeded(&Command::new(cc).args(STRICT).args(SANITIZED).args(driver).current_dir(folder).output().unwrap());
    let built = Command::new(cc)
        .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1"])
        .args(SANITIZED)
        .arg("-I")
        .arg(folder)
        .arg("-I")
        .arg(Path::new(ROOT).join("simulator/capi/include"))
        .arg(Path::new(ROOT).join("tests/tests/it/generated_c/harness.c"))
        .arg(&object)
        .arg(tools::workspace_programs().join("libpagewise_capi.a"))
        .args(["-lpthread", "-ldl", "-lm", "-o"])
        .arg(&program)
        .output()
        .unwrap();
    succeeded(&built);
    program
}

/// What the C side prints for a script; how it ended, if it did not get to the end.
pub fn run(program: &Path, folder: &Path, script: &str) -> String {
    let mut child = Command::new(program)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let script = script.to_owned();
    let writer = std::thread::spawn(move || input.write_all(script.as_bytes()));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    let said = text(&output.stdout);
    if output.status.success() { said } else { said + &text(&output.stderr) }
}

/// The first line that differs.
pub fn difference(script: &str, c: &str, rust: &str) -> Option<String> {
    if c == rust {
        return None;
    }
    let shorter = c.lines().count().min(rust.lines().count());
    let at = c.lines().zip(rust.lines()).position(|(a, b)| a != b).unwrap_or(shorter);
    let line = |text: &str| text.lines().nth(at).unwrap_or("(nothing)").chars().take(200).collect::<String>();
    let commands = script.lines().count();
    Some(format!("line {at} of {commands} commands\nC:    {}\nRust: {}", line(c), line(rust)))
}

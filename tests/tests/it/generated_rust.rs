//! The generated Rust of every card compiles against the driver, is lint-clean and formatted, and means the card.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pagewise::command::values::{Straps, pin_levels};
use pagewise_driver::Geometry;
use pagewise_emit::{Part, Record, Request, rust};
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Card, Catalogue, load};

/// A card whose texts try to become code.
const HOSTILE: &str = r#"
id = "hostile"
name = "a\n}\npub fn evil() {} */ /* \u001b[31m \u202e \" {{ id }} {% if x %} \\"
maker = "b\r\n*/ #![deny(warnings)] \\"
kind = "eeprom"
document = "c\u2028} compile_error!(\"out\"); //! [link] `"
capacity_bits = 32768
page_bytes = 32
"#;

fn cards() -> Vec<Card> {
    let mut cards = Catalogue::embedded().unwrap().cards().to_vec();
    cards.push(load::card("hostile.toml", HOSTILE).unwrap());
    cards
}

/// Parts that one setting serves, and parts that must be told apart.
const COMMON: [&str; 3] = ["24lc256", "24lc64", "fm24cl64b"];
const CANDIDATES: [&str; 3] = ["24lc256", "24lc01b", "24aa1025"];

/// Pins low and pins high, as far as the part allows.
fn strappings(card: &Card) -> [PinLevels; 2] {
    let low = pin_levels(card, Straps::default()).unwrap();
    let mut high = [true; 3];
    for (pin, level) in &card.required_straps {
        high[usize::from(*pin)] = *level;
    }
    [low, high]
}

/// A crate with one module file and one wrapped module per card, and a program that prints what they say.
fn write_crate(folder: &Path, cards: &[Card]) -> Vec<PathBuf> {
    let driver = Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver").canonicalize().unwrap();
    let source = folder.join("src");
    let _ = fs::remove_dir_all(&source);
    fs::create_dir_all(&source).unwrap();
    let manifest = format!(
        "[package]\nname = \"generated\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
         pagewise-driver = {{ path = {driver:?} }}\n"
    );
    fs::write(folder.join("Cargo.toml"), manifest).unwrap();
    fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.lock"), folder.join("Cargo.lock")).unwrap();
    let (mut modules, mut calls, mut files) = (String::new(), String::new(), Vec::new());
    for card in cards {
        let stem = format!("card_{}", card.id.replace('-', "_"));
        for (pins, form) in strappings(card).into_iter().zip(["low", "high"]) {
            let name = format!("{stem}_{form}");
            let module = (form == "high").then(|| rust::module_name(&name).unwrap());
            let request = Request { module, ..Request::new(vec![Part::new(card, pins)]) };
            let text = rust::configuration(&request).unwrap().files.remove(0).text;
            let file = source.join(format!("{name}.rs"));
            fs::write(&file, text).unwrap();
            files.push(file);
            match form {
                "low" => writeln!(modules, "mod {name};").unwrap(),
                _ => writeln!(modules, "include!(\"{name}.rs\");").unwrap(),
            }
            writeln!(calls, "    show(\"{}\", {name}::GEOMETRY, {name}::BUFFER_BYTES);", card.id).unwrap();
        }
    }
    let several = |ids: &[&str]| {
        let part = |id: &&str| Part::new(cards.iter().find(|card| card.id == **id).unwrap(), [false; 3]);
        Request::new(ids.iter().map(part).collect())
    };
    let common = several(&COMMON);
    let candidates = several(&CANDIDATES).choosing(Record { offset: 0x10, bytes: 70 });
    for (name, request) in [("common", common), ("candidates", candidates)] {
        let file = source.join(format!("{name}.rs"));
        fs::write(&file, rust::configuration(&request).unwrap().files.remove(0).text).unwrap();
        files.push(file);
        writeln!(modules, "mod {name};").unwrap();
    }
    calls += "    show(\"common\", common::GEOMETRY, common::BUFFER_BYTES);\n";
    calls += "    for (id, candidate) in candidates::NAMES.iter().zip(candidates::CANDIDATES) {\n        \
              show(id, candidate.geometry, candidates::BUFFER_BYTES);\n    }\n";
    let main = format!(
        "#![deny(warnings, missing_docs)]\n//! Prints every configuration.\n{modules}\n\
         fn show(id: &str, geometry: pagewise_driver::Geometry, buffer: usize) {{\n    \
         println!(\"{{id}} {{:?}} {{buffer}}\", geometry.parameters());\n}}\n\n\
         #[allow(clippy::too_many_lines)]\nfn main() {{\n{calls}}}\n"
    );
    fs::write(source.join("main.rs"), main).unwrap();
    files
}

fn cargo(folder: &Path, verb: &str, more: &[&str]) -> Output {
    let output = Command::new(env!("CARGO"))
        .args([verb, "--quiet", "--offline", "--target-dir"])
        .arg(folder.join("target"))
        .args(more)
        .current_dir(folder)
        .env_remove("RUSTFLAGS")
        .env_remove("RUSTC_WRAPPER")
        .env_remove("CARGO_TARGET_DIR")
        .output()
        .unwrap();
    assert!(output.status.success(), "cargo {verb}:\n{}", String::from_utf8_lossy(&output.stderr));
    output
}

#[test]
fn every_card_compiles_lint_clean_formatted_and_keeps_its_values() {
    let cards = cards();
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("generated-rust");
    let files = write_crate(&folder, &cards);

    let mut rustfmt = Command::new("rustfmt");
    rustfmt.args(["--check", "--edition", "2024", "--config", "max_width=100,use_small_heuristics=Default"]);
    let formatted = rustfmt.args(&files).output().unwrap();
    assert!(formatted.status.success(), "{}", String::from_utf8_lossy(&formatted.stdout));

    cargo(&folder, "clippy", &["--", "-Wclippy::pedantic", "-Dwarnings"]);
    let printed = cargo(&folder, "run", &[]).stdout;
    let printed: Vec<String> = String::from_utf8(printed).unwrap().lines().map(str::to_owned).collect();
    let mut expected = Vec::new();
    for card in &cards {
        for pins in strappings(card) {
            let geometry = card.geometry(pins).unwrap();
            expected.push(format!("{} {:?} {}", card.id, geometry.parameters(), geometry.buffer_bytes()));
        }
    }
    let geometry = |id: &&str| cards.iter().find(|card| card.id == **id).unwrap().geometry([false; 3]).unwrap();
    let common = Geometry::common(&COMMON.iter().map(geometry).collect::<Vec<_>>()).unwrap();
    expected.push(format!("common {:?} {}", common.parameters(), common.buffer_bytes()));
    let largest = CANDIDATES.iter().map(|id| geometry(id).buffer_bytes()).max().unwrap();
    expected.extend(CANDIDATES.iter().map(|id| format!("{id} {:?} {largest}", geometry(id).parameters())));
    assert_eq!(printed, expected);
    assert!(expected.len() > 200, "every card, strapped both ways");
}

/// Stores the first byte; nothing in it is reckoned.
const FIRST: &str = r#"//! Stores a byte.
use embedded_hal::{delay::DelayNs, i2c::I2c};
use pagewise_driver::{Error, Options};

mod eeprom;

fn store<I: I2c, D: DelayNs>(i2c: I, delay: D) -> Result<(), Error<I::Error>> {
    let mut part: eeprom::Eeprom<I, D> = eeprom::eeprom(i2c, delay, Options::new());
    part.write(0x10, &[42])
}

struct Bus;

impl embedded_hal::i2c::ErrorType for Bus {
    type Error = core::convert::Infallible;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, parts: &mut [embedded_hal::i2c::Operation<'_>]) -> Result<(), Self::Error> {
        println!("{address:02x} {parts:02x?}");
        Ok(())
    }
}

struct Clock;

impl DelayNs for Clock {
    fn delay_ns(&mut self, _: u32) {}
}

fn main() {
    store(Bus, Clock).unwrap();
}
"#;

/// What the head of a generated file says that `Cargo.toml` needs.
fn dependencies(text: &str) -> String {
    let (_, rest) = text.split_once("//     [dependencies]\n").unwrap();
    rest.lines().map_while(|line| line.strip_prefix("//     ")).map(|line| format!("{line}\n")).collect()
}

#[test]
fn a_first_program_needs_the_generated_file_and_the_lines_at_its_head() {
    let catalogue = Catalogue::embedded().unwrap();
    let request = Request::new(vec![Part::new(catalogue.find("24lc256").unwrap(), [false; 3])]);
    let text = rust::configuration(&request).unwrap().files.remove(0).text;
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("first-program");
    fs::create_dir_all(folder.join("src")).unwrap();
    let driver = Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver").canonicalize().unwrap();
    // The driver of this project stands in for the published one of that version.
    let manifest = format!(
        "[package]\nname = \"first\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n{}\n\
         [patch.crates-io]\npagewise-driver = {{ path = {driver:?} }}\n",
        dependencies(&text)
    );
    fs::write(folder.join("Cargo.toml"), manifest).unwrap();
    fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.lock"), folder.join("Cargo.lock")).unwrap();
    fs::write(folder.join("src/eeprom.rs"), text).unwrap();
    fs::write(folder.join("src/main.rs"), FIRST).unwrap();
    let printed = cargo(&folder, "run", &[]).stdout;
    assert_eq!(String::from_utf8(printed).unwrap(), "50 [Write([00, 10, 2a])]\n50 [Write([00, 10])]\n");
}

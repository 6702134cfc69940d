//! A generated crate folder holds the driver byte for byte, builds where nothing of this project is, and serves a
//! program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pagewise_base::disk;
use pagewise_content::layout;
use pagewise_emit::{Part, Record, Request, rust_crate};
use pagewise_part::card::{Card, Catalogue};
use pagewise_tests::{bare, hostile_cards};

const LAYOUT: &str = "name = \"bell\"\n[[region]]\nname = \"rings\"\nkind = \"u32\"\nendian = \"little\"\noffset = 32\n\
    writes_per_day = 4\n";
const HOSTILE: &str = "a\n}\npub fn evil() {} */ /* \u{202e} \" {{ name }} {% if x %} \\";

/// Its bus writes down what is sent to which address.
const PROGRAM: &str = r#"#![deny(warnings)]
//! Writes one region.
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorType, I2c, Operation};
use memory::driver::Options;

struct Bus;

impl ErrorType for Bus {
    type Error = core::convert::Infallible;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        println!("{address:02x} {operations:02x?}");
        Ok(())
    }
}

struct Clock;

impl DelayNs for Clock {
    fn delay_ns(&mut self, _: u32) {}
}

fn main() {
    let mut part = memory::eeprom(Bus, Clock, Options::new());
    memory::regions::write_rings(&mut part, 0x01020304).unwrap();
}
"#;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap()
}

/// A crate `memory` in a folder far from the workspace, with a hostile card or two, and the lock file of the workspace.
fn generate(folder: &Path, cards: &[Card], choose: Option<Record>) -> PathBuf {
    generate_as("memory", folder, cards, choose)
}

fn generate_as(name: &str, folder: &Path, cards: &[Card], choose: Option<Record>) -> PathBuf {
    let layout = layout::parse("bell.toml", LAYOUT).unwrap();
    let parts = cards.iter().map(|card| Part::new(card, [false; 3])).collect();
    let request = Request { choose, ..Request::new(parts).with_layout(&layout).in_module(name) };
    let generated = rust_crate::driver(&request).unwrap();
    let place = folder.join(name);
    let paths: Vec<_> = generated.files.iter().map(|file| place.join(&file.name)).collect();
    let texts = generated.files.iter().map(|file| file.text.as_bytes());
    let files: Vec<_> = paths.iter().map(PathBuf::as_path).zip(texts).collect();
    disk::replace_all_in_folders(&files).unwrap();
    fs::copy(root().join("Cargo.lock"), place.join("Cargo.lock")).unwrap();
    place
}

fn cards() -> [Card; 2] {
    let catalogue = Catalogue::embedded().unwrap();
    let card = |id, text: &str| hostile_cards::card(catalogue.find(id).unwrap(), text);
    [card("24lc64", HOSTILE), card("24lc256", &format!("{HOSTILE}2"))]
}

fn cargo(folder: &Path, arguments: &[&str]) -> Output {
    let output = Command::new(env!("CARGO"))
        .args(arguments)
        .args(["--quiet", "--offline", "--target-dir"])
        .arg(Path::new(env!("CARGO_TARGET_TMPDIR")).join("generated-crate"))
        .current_dir(folder)
        .env("RUSTFLAGS", "-Dwarnings")
        .env_remove("RUSTC_WRAPPER")
        .output()
        .unwrap();
    assert!(output.status.success(), "cargo {arguments:?}:\n{}", String::from_utf8_lossy(&output.stderr));
    output
}

fn files_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let (mut files, mut folders) = (BTreeMap::new(), vec![folder.to_owned()]);
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                files.insert(path.strip_prefix(folder).unwrap().to_owned(), fs::read(&path).unwrap());
            }
        }
    }
    files
}

#[test]
fn the_folder_holds_the_driver_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let place = generate(folder.path(), &cards()[..1], None);
    let own = files_below(&root().join("driver/src"));
    assert!(own.len() > 20, "the driver's sources are found");
    assert_eq!(files_below(&place.join("driver/src")), own);
    for (name, from) in [("README.md", "driver"), ("LICENSE-MIT", "."), ("LICENSE-APACHE", ".")] {
        let of_project = fs::read(root().join(from).join(name)).unwrap();
        assert_eq!(fs::read(place.join("driver").join(name)).unwrap(), of_project, "{name}");
    }
}

#[test]
fn the_folder_builds_by_itself_with_and_without_features() {
    for choose in [None, Some(Record { offset: 0, bytes: 4 })] {
        let folder = tempfile::tempdir().unwrap();
        let place = generate(folder.path(), &cards(), choose);
        cargo(&place, &["check"]);
        cargo(&place, &["check", "--features", "records"]);
    }
}

#[test]
fn a_program_needs_that_crate_and_no_other_of_this_project() {
    let folder = tempfile::tempdir().unwrap();
    let place = generate(folder.path(), &cards()[..1], None);
    fs::create_dir(folder.path().join("src")).unwrap();
    let manifest = "[package]\nname = \"bell\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
        embedded-hal = \"1.0\"\nmemory = { path = \"memory\" }\n";
    fs::write(folder.path().join("Cargo.toml"), manifest).unwrap();
    fs::write(folder.path().join("src/main.rs"), PROGRAM).unwrap();
    fs::rename(place.join("Cargo.lock"), folder.path().join("Cargo.lock")).unwrap();
    let said = cargo(folder.path(), &["run"]).stdout;
    // Word address 32, then the number with its lowest byte first; the poll that follows carries the word address
    // alone.
    assert_eq!(String::from_utf8(said).unwrap(), "50 [Write([00, 20, 04, 03, 02, 01])]\n50 [Write([00, 20])]\n");
}

/// Firmware with two parts that have nothing in common.
const TWO_PARTS: &str = r#"//! Reads a byte of each part.
#![no_std]
#![deny(warnings)]
use embedded_hal::{delay::DelayNs, i2c::I2c};

/// Both.
pub fn both<B: I2c, D: DelayNs>(i2c: &mut B, delay: &mut D) -> Option<[u8; 2]> {
    use identity::driver as one;
    use settings::driver as two;
    let mut bytes = [[0]; 2];
    let mut part = identity::eeprom(&mut *i2c, &mut *delay, one::Options::new());
    part.read(0, &mut bytes[0]).ok()?;
    let mut part: settings::Eeprom<_, _> = settings::eeprom(&mut *i2c, &mut *delay, two::Options::new());
    part.read(0, &mut bytes[1]).ok()?;
    Some([bytes[0][0], bytes[1][0]])
}
"#;

/// This cargo where it has the target, else that which builds the standard library from its sources.
fn cargo_for(target: &str) -> Option<Command> {
    let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let asked = Command::new(rustc).args(["--print", "target-libdir", "--target", target]).output().unwrap();
    if asked.status.success() && Path::new(String::from_utf8_lossy(&asked.stdout).trim()).is_dir() {
        return Some(Command::new(env!("CARGO")));
    }
    println!("no rustup target {target}: Debian's cargo instead");
    let mut cargo = bare::cargo()?;
    cargo.arg("-Zbuild-std=core");
    Some(cargo)
}

#[test]
fn two_such_crates_live_in_one_firmware() {
    const TARGET: &str = "thumbv6m-none-eabi";
    let Some(mut cargo) = cargo_for(TARGET) else { return };
    let folder = tempfile::tempdir().unwrap();
    let [one, two] = cards();
    for (name, card) in [("identity", one), ("settings", two)] {
        let place = generate_as(name, folder.path(), &[card], None);
        fs::rename(place.join("Cargo.lock"), folder.path().join("Cargo.lock")).unwrap();
    }
    fs::create_dir(folder.path().join("src")).unwrap();
    let manifest = "[package]\nname = \"firmware\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
        embedded-hal = \"1.0\"\nidentity = { path = \"identity\" }\nsettings = { path = \"settings\" }\n";
    fs::write(folder.path().join("Cargo.toml"), manifest).unwrap();
    fs::write(folder.path().join("src/lib.rs"), TWO_PARTS).unwrap();
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).join("two-crates");
    let output = cargo
        .args(["build", "--quiet", "--offline", "--target", TARGET, "--target-dir"])
        .arg(target)
        .current_dir(folder.path())
        .env_remove("RUSTC_WRAPPER")
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

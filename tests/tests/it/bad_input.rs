//! Every kind of file that a user gives, damaged: success or messages, never a panic; each message says what, why and
//! what to do; where there are messages, nothing was written.
//!
//! `PAGEWISE_CASES=250 cargo test --release -p pagewise-tests --test it bad_input` runs each kind more than 10,000 times.

use std::collections::BTreeMap;
use std::fs;
use std::panic::{self, AssertUnwindSafe};
use std::path::{Path, PathBuf};

use clap::Parser;
use pagewise::command::Program;
use pagewise_base::fault::Faults;
use pagewise_line::{journal::Journal, units};
use pagewise_tests::damage::{Damage, damages};
use pagewise_tests::search::{counterexample, scaled, seed};
use proptest::prelude::*;
use proptest::sample::select;

/// A valid file and what is done with it.
struct Kind {
    name: &'static str,
    /// Valid files, with the name that each has where it is used.
    samples: Vec<(String, Vec<u8>)>,
    /// What reads the file; the second path is a folder for what is written.
    reads: fn(&Path, &Path) -> Result<(), Faults>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap()
}

fn files(folder: &str, extension: &str) -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<_> = fs::read_dir(root().join(folder)).unwrap().map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.extension().is_some_and(|end| end == extension));
    found.sort();
    assert!(!found.is_empty(), "{folder} holds no *.{extension}");
    found.iter().map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(path).unwrap())).collect()
}

/// Runs the program in this process.
fn run(words: &[&str]) -> Result<(), Faults> {
    let program = Program::try_parse_from(std::iter::once(&"pagewise").chain(words)).expect("a good command line");
    program.run().map(drop)
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Runs a kind on so many damaged files.
fn survives(kind: &Kind) {
    println!("seed {:#x}", seed());
    let folder = tempfile::tempdir().unwrap();
    let strategy = (select(kind.samples.clone()), damages());
    let found = counterexample(kind.name, scaled(40), &strategy.prop_map(Case), |case| case.run(kind, folder.path()));
    assert!(found.is_none(), "{}", found.unwrap_or_default());
    // The valid files are read, or the damage would prove nothing.
    for sample in &kind.samples {
        let whole = Case((sample.clone(), Vec::new()));
        assert_eq!(whole.result(kind, folder.path()).map_err(|faults| faults.to_string()), Ok(()), "{}", sample.0);
    }
}

#[derive(Clone)]
struct Case(((String, Vec<u8>), Vec<Damage>));

impl std::fmt::Debug for Case {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self(((name, _), damages)) = self;
        write!(f, "{name} {damages:?}\n{}", String::from_utf8_lossy(&self.bytes()))
    }
}

impl Case {
    fn bytes(&self) -> Vec<u8> {
        let Self(((_, bytes), damages)) = self;
        damages.iter().fold(bytes.clone(), |bytes, damage| damage.of(&bytes))
    }

    fn result(&self, kind: &Kind, folder: &Path) -> Result<(), Faults> {
        let (file, out) = (folder.join(&self.0.0.0), folder.join("out"));
        fs::write(&file, self.bytes()).unwrap();
        let _ = fs::remove_dir_all(&out);
        fs::create_dir_all(&out).unwrap();
        fs::write(out.join("kept"), "what was there before").unwrap();
        (kind.reads)(&file, &out)
    }

    fn run(&self, kind: &Kind, folder: &Path) -> Result<(), String> {
        let result = panic::catch_unwind(AssertUnwindSafe(|| self.result(kind, folder)));
        let Ok(result) = result else { return Err("panics".into()) };
        let Err(faults) = result else { return Ok(()) };
        if faults.0.is_empty() {
            return Err("is refused without a message".into());
        }
        for fault in &faults.0 {
            if fault.file.is_empty() || fault.reason.is_empty() || fault.remedy.is_empty() {
                return Err(format!("a message that does not say what, why and what to do: {fault:?}"));
            }
        }
        let left = contents(&folder.join("out"));
        if left.len() != 1 { Err(format!("refused, but wrote {:?}", left.keys())) } else { Ok(()) }
    }
}

fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| (path.clone(), fs::read(path).unwrap_or_default())).collect()
}

#[test]
fn board_files() {
    let reads = |file: &Path, _: &Path| run(&["swap", text(file), "--to", "24lc64"]);
    survives(&Kind { name: "boards", samples: files("examples/boards", "toml"), reads });
}

#[test]
fn cards() {
    let samples = files("codegen/parts", "toml");
    let reads = |file: &Path, _: &Path| run(&["parts", "--cards", text(file.parent().unwrap())]);
    // One card at a time: the folder must hold no other.
    let renamed = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap().replacen("id = \"", "id = \"own-", 1).into_bytes();
    let samples = samples.into_iter().step_by(17).map(|(_, bytes)| ("own.toml".to_owned(), renamed(bytes))).collect();
    survives(&Kind { name: "cards", samples, reads });
}

#[test]
fn layouts() {
    let reads = |file: &Path, out: &Path| {
        let part = if text(file).ends_with("field-gateway.toml") { "24lc02b" } else { "24lc64" };
        run(&["layout", text(file), "--part", part])?;
        let images = out.join("images");
        run(&["image", text(file), "--part", part, "--output", text(&images)]).or_else(needs_units)
    };
    survives(&Kind { name: "layouts", samples: files("examples/layouts", "toml"), reads });
}

/// A layout with values per unit is refused without them, which is right.
fn needs_units(faults: Faults) -> Result<(), Faults> {
    let needs = |fault: &pagewise_base::fault::Fault| fault.remedy.contains("--units");
    if faults.0.iter().all(needs) { Ok(()) } else { Err(faults) }
}

#[test]
fn values_of_units() {
    let reads = |file: &Path, out: &Path| {
        let layout = root().join("examples/layouts/field-gateway.toml");
        let images = out.join("images");
        run(&["image", text(&layout), "--part", "24lc02b", "--units", text(file), "--output", text(&images)])
    };
    let mut samples = files("examples/layouts", "csv");
    samples.retain(|(name, _)| name.starts_with("field-gateway"));
    survives(&Kind { name: "units", samples, reads });
}

/// The images of the example, made once, in each form.
fn images() -> &'static [(String, Vec<u8>)] {
    static IMAGES: std::sync::OnceLock<Vec<(String, Vec<u8>)>> = std::sync::OnceLock::new();
    IMAGES.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let layouts = root().join("examples/layouts");
        let (layout, units) = (layouts.join("field-gateway.toml"), layouts.join("field-gateway-units.csv"));
        let mut all = Vec::new();
        for form in ["bin", "ihex", "srec"] {
            let out = folder.path().join(form);
            let words = [
                "image",
                text(&layout),
                "--part",
                "24lc02b",
                "--units",
                text(&units),
                "--output",
                text(&out),
                "--form",
                form,
            ];
            run(&words).unwrap_or_else(|faults| panic!("{faults}"));
            let mut paths: Vec<_> = fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().path()).collect();
            paths.sort();
            all.extend(
                paths
                    .iter()
                    .map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(path).unwrap())),
            );
        }
        all
    })
}

#[test]
fn images_and_dumps() {
    let samples = images().iter().filter(|(name, _)| !name.ends_with("jsonl")).cloned().collect();
    let reads = |file: &Path, _: &Path| run(&["inspect", text(file), "--part", "24lc02b"]);
    survives(&Kind { name: "images", samples, reads });
}

#[test]
fn manifests_of_images() {
    let (manifests, images): (Vec<_>, Vec<_>) = images().iter().cloned().partition(|(name, _)| name.ends_with("jsonl"));
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in images {
        fs::write(folder.path().join(name), bytes).unwrap();
    }
    let samples = manifests;
    let strategy = (select(samples.clone()), damages()).prop_map(Case);
    let kind = Kind { name: "manifests", samples, reads: |file, _| units::read(file, &[]).map(drop) };
    let found = counterexample(kind.name, scaled(40), &strategy, |case| case.run(&kind, folder.path()));
    assert!(found.is_none(), "{}", found.unwrap_or_default());
}

#[test]
fn stock_lists() {
    let reads = |file: &Path, out: &Path| {
        let board = root().join("examples/boards/gateway.toml");
        run(&["swap", text(&board), "--stock", text(file), "--lines", text(&out.join("lines"))])
    };
    survives(&Kind { name: "stock", samples: files("examples", "csv"), reads });
}

const COLUMNS: &str = r#"currency = "EUR"
decimal_mark = ","
delimiter = ";"
lead_time_in = "weeks"

[columns]
part = "Part number"
quantity = "On hand"
unit_price = "Price"
lead_time = "Weeks"
state = "Life"

[states]
active = ["runs"]
last_buy = ["ends"]
obsolete = ["gone"]
"#;

#[test]
fn names_of_columns() {
    let reads = |file: &Path, _: &Path| {
        let (board, stock) = (root().join("examples/boards/gateway.toml"), file.with_extension("csv"));
        fs::write(&stock, "Part number;On hand;Price;Weeks;Life\nAT24C02D;4000;0,19;2;runs\n").unwrap();
        run(&["swap", text(&board), "--stock", text(&stock), "--columns", text(file)])
    };
    survives(&Kind { name: "columns", samples: vec![("columns.toml".to_owned(), COLUMNS.into())], reads });
}

#[test]
fn results_of_shards() {
    let folder = tempfile::tempdir().unwrap();
    let (board, lines) = (root().join("examples/boards/gateway.toml"), folder.path().join("whole.jsonl"));
    run(&["swap", text(&board), "--lines", text(&lines)]).unwrap();
    let samples = vec![("whole.jsonl".to_owned(), fs::read(&lines).unwrap())];
    let reads = |file: &Path, out: &Path| run(&["merge", text(file), "--lines", text(&out.join("merged"))]);
    survives(&Kind { name: "shards", samples, reads });
}

#[test]
fn journals() {
    let folder = tempfile::tempdir().unwrap();
    let (image, journal) = (folder.path().join("unit.bin"), folder.path().join("line.jsonl"));
    fs::write(&image, [0x5A; 64]).unwrap();
    let backups = folder.path().join("backups");
    let words = [
        "program",
        "--simulate",
        text(&image),
        "--part",
        "24lc02b",
        "--journal",
        text(&journal),
        "--backups",
        text(&backups),
    ];
    run(&words).unwrap();
    let samples = vec![("line.jsonl".to_owned(), fs::read(&journal).unwrap())];
    let reads = |file: &Path, _: &Path| Journal::open(file).map(drop);
    survives(&Kind { name: "journals", samples, reads });
}

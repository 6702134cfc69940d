//! What the prover says of the generated C: the contracts in it hold for every geometry that `init` accepts, and no planted
//! mistake is taken for proved. `--nocapture` prints the table of goals.

use std::collections::BTreeMap;
use std::env;
use std::ffi::OsString;
use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use pagewise_emit::{Part, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::tools;

use super::Draws;
use super::proved::{PROVED, Proved};
use super::workshop::{succeeded, text};

/// The lines of C whose contracts are taken for granted in the proof, each with what is said of it, turned round: no numbers
/// of 32 bits may make it true.
const BITS: [(&str, &str); 4] = [
    ("return offset & mask;", "(not (bvule (bvand o m) m))"),
    (
        "return offset & mask;",
        "(and (mask m) (distinct m #xffffffff) (distinct (bvand o m) (bvurem o (bvadd m #x00000001))))",
    ),
    // The axiom `nested`.
    (
        "return offset & mask;",
        "(and (mask m) (mask n) (bvule m n) (not (bvule (bvsub m (bvand o m)) (bvsub n (bvand o n)))))",
    ),
    (
        "return ((block | capacity) & (block - 1u)) == 0u;",
        "(and (distinct c #x00000000) (= (bvand (bvor b c) (bvsub b #x00000001)) #x00000000) (not (and \
         (distinct b #x00000000) (mask (bvsub b #x00000001)) (= (bvand c (bvsub b #x00000001)) #x00000000))))",
    ),
];

/// Without this z3 looks for a model of all axioms, and finds neither that nor a proof.
const Z3: &str = "auto_config=false smt.mbqi=false";

/// Of each function the goals by name, and the steps in which each was proved, if it was.
type Goals = BTreeMap<&'static str, BTreeMap<String, Option<u64>>>;

/// Steps after which a goal counts as not proved: about twice the longest proof.
const STEPS: u64 = 12_000_000;
/// The same where mistakes are planted, of which each costs as many.
const FEW_STEPS: u64 = 2_000_000;

struct Prover {
    frama_c: PathBuf,
    path: OsString,
    folder: tempfile::TempDir,
}

impl Prover {
    /// With the header of a driver in its folder; and the source.
    fn new() -> Option<(Self, String)> {
        let frama_c = tools::need("frama-c", "frama-c-base")?;
        let z3 = tools::need("z3", "z3")?;
        tools::need("why3", "why3")?;
        let folder = tempfile::tempdir().unwrap();
        let programs = folder.path().join("programs");
        fs::create_dir(&programs).unwrap();
        let with_options = programs.join("z3");
        fs::write(&with_options, format!("#!/bin/sh\nexec '{}' {Z3} \"$@\"\n", z3.display())).unwrap();
        fs::set_permissions(&with_options, fs::Permissions::from_mode(0o755)).unwrap();
        let others = env::var_os("PATH").unwrap_or_default();
        let path = env::join_paths(std::iter::once(programs).chain(env::split_paths(&others))).unwrap();
        let prover = Self { frama_c, path, folder };
        // The prover is found through a file that why3 writes once.
        succeeded(&prover.command("why3").args(["config", "detect"]).output().unwrap());
        let catalogue = Catalogue::embedded().unwrap();
        let part = Part::new(catalogue.find("24lc256").unwrap(), [false; 3]);
        let files = c::driver(&Request::new(vec![part])).unwrap().files;
        fs::write(prover.folder.path().join("eeprom.h"), &files[0].text).unwrap();
        Some((prover, files[1].text.clone()))
    }

    fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command.env("PATH", &self.path).env("WHY3CONFIG", self.folder.path().join("why3.conf"));
        command.current_dir(self.folder.path());
        command
    }

    /// The goals of each of these functions. Steps bound a search, so that a busy machine says the same.
    fn goals(&self, source: &str, functions: &[&'static str], steps: u64) -> Goals {
        let path = self.folder.path().join("eeprom.c");
        fs::write(&path, source).unwrap();
        let output = self
            .command(&self.frama_c)
            // That a pointer points to a function is said of `some_transfer` and `some_delay` by the contracts.
            .args(["-wp", "-wp-rte", "-rte-no-pointer-call", "-wp-prover", "z3", "-wp-steps", &steps.to_string()])
            .args(["-wp-timeout", "600", "-wp-par", "2", "-wp-fct", &functions.join(",")])
            .arg(path)
            .output()
            .unwrap();
        succeeded(&output);
        let mut goals = Goals::new();
        let said = text(&output.stdout);
        for line in said.lines() {
            let Some((_, goal)) = line.split_once("] Goal typed_") else { continue };
            let (name, outcome) = goal.split_once(" : ").unwrap();
            // Of `wrote` and `wrote_all` the longer one is meant.
            let own = |function: &&&str| name.strip_prefix(**function).is_some_and(|rest| rest.starts_with('_'));
            let function =
                functions.iter().filter(own).max_by_key(|name| name.len()).unwrap_or_else(|| panic!("{line}"));
            // The steps come last, in parentheses; what is simplified to nothing has none.
            let last = outcome.rsplit_once('(').and_then(|(_, last)| last.strip_suffix(')')?.parse().ok());
            let steps = outcome.starts_with("Valid").then_some(last.unwrap_or(0));
            assert!(goals.entry(function).or_default().insert(name.to_owned(), steps).is_none(), "{line}");
        }
        goals
    }
}

/// The goals of the C as it is, proved once for all tests.
fn as_it_is() -> Option<&'static Goals> {
    static GOALS: OnceLock<Option<Goals>> = OnceLock::new();
    let prove = || {
        let (prover, source) = Prover::new()?;
        Some(prover.goals(&source, &PROVED.map(|proved| proved.0), STEPS))
    };
    GOALS.get_or_init(prove).as_ref()
}

#[test]
fn every_contract_is_proved() {
    let Some(goals) = as_it_is() else { return };
    let mut listed = String::new();
    let mut all = 0;
    println!("\n| Function | What is proved | Goals |\n|---|---|---|");
    for Proved(function, what, planted) in PROVED {
        let own = goals.get(function).unwrap_or_else(|| panic!("{function}: no goals"));
        let open: Vec<&String> = own.iter().filter(|(_, steps)| steps.is_none()).map(|(name, _)| name).collect();
        assert!(open.is_empty() && own.len() >= 4 && !planted.is_empty(), "{function}: not proved: {open:?}");
        println!("| `{function}` | {what} | {} |", own.len());
        write!(listed, "{}`{function}` {}", if all == 0 { "" } else { ", " }, own.len()).unwrap();
        all += own.len();
    }
    let table = format!(
        "\n{version}\n\n| Functions | Goals proved |\n|---|---|\n\
         | {}: {listed} | {all} |\n\n",
        PROVED.len(),
        version = versions()
    );
    println!("{table}");
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md")).unwrap();
    if readme.contains(&versions()) || env::var_os("PAGEWISE_BLESS").is_some() {
        stands_in_driver_readme("goals", "it/generated_c/proof.rs", &table);
    } else {
        println!("the table in driver/README.md is for another prover; only that all is proved was checked");
    }
}

/// Which programs count the goals.
fn versions() -> String {
    let says = |program: &str, option: &str, package: &str| {
        let program = tools::need(program, package).unwrap();
        text(&Command::new(program).arg(option).output().unwrap().stdout)
    };
    let z3 = says("z3", "--version", "z3");
    let z3 = z3.split(' ').nth(2).unwrap_or_default();
    format!("Printed for Frama-C {}, z3 {z3}.", says("frama-c", "-version", "frama-c-base").trim())
}

/// Functions that stand together in the source, of which a usual run plants a mistake in one.
const GROUP: usize = 9;

type Planted = Vec<(&'static str, (&'static str, &'static str))>;

/// One mistake in one function of each group, drawn by the seed. With `PAGEWISE_CASES=10`, as `.ci/long` does it, all of them,
/// in rounds with no more than one in a function, since each is proved by itself.
fn rounds() -> Vec<Planted> {
    if scaled(1) > 1 {
        let most = PROVED.iter().map(|Proved(.., mistakes)| mistakes.len()).max().unwrap_or(0);
        let round = |index| move |Proved(function, _, mistakes): &Proved| Some((*function, *mistakes.get(index)?));
        return (0..most).map(|index| PROVED.iter().filter_map(round(index)).collect()).collect();
    }
    let mut draws = Draws(seed());
    let drawn = |group: &[Proved]| {
        let Proved(function, _, mistakes) = &group[draws.below(group.len() as u32) as usize];
        (*function, draws.one_of(mistakes))
    };
    vec![PROVED.chunks(GROUP).map(drawn).collect()]
}

/// A mistake is refused where a goal is no longer proved that takes no more steps without it.
#[test]
fn no_planted_mistake_is_proved() {
    let Some(right) = as_it_is() else { return };
    let Some((prover, source)) = Prover::new() else { return };
    println!("seed {:#x}", seed());
    let mut tried = 0;
    for planted in rounds() {
        let mut wrong = source.clone();
        for (function, (from, to)) in &planted {
            assert!(source.matches(from).count() == 1, "{function}: {from}");
            wrong = wrong.replacen(from, to, 1);
        }
        let functions: Vec<&str> = planted.iter().map(|(function, _)| *function).collect();
        let goals = prover.goals(&wrong, &functions, FEW_STEPS);
        for (function, (_, mistake)) in planted {
            let refused = |(name, steps): (&String, &Option<u64>)| {
                let before = right[function].get(name);
                steps.is_none() && before.is_some_and(|before| before.is_some_and(|steps| steps <= FEW_STEPS))
            };
            assert!(goals[function].iter().any(refused), "{function}: `{mistake}` was not refused");
            println!("{function}: `{mistake}` is refused");
            tried += 1;
        }
    }
    println!("{tried} planted, none proved");
    assert!(tried >= PROVED.len() / GROUP, "{tried}");
}

/// Whether the prover finds numbers of 32 bits for which this is true.
fn satisfiable(z3: &Path, what: &str) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bits.smt2");
    let numbers: String =
        ["o", "m", "n", "b", "c"].iter().map(|name| format!("(declare-const {name} (_ BitVec 32))\n")).collect();
    let mask = "(define-fun mask ((x (_ BitVec 32))) Bool (= (bvand x (bvadd x #x00000001)) #x00000000))\n";
    fs::write(&path, format!("{numbers}{mask}(assert {what})\n(check-sat)\n")).unwrap();
    let output = Command::new(z3).arg(&path).output().unwrap();
    match text(&output.stdout).trim() {
        "sat" => true,
        "unsat" => false,
        other => panic!("{what}: {other}"),
    }
}

#[test]
fn what_the_contracts_take_for_granted_of_bits_is_true() {
    let Some(z3) = tools::need("z3", "z3") else { return };
    let catalogue = Catalogue::embedded().unwrap();
    let part = Part::new(catalogue.find("24lc256").unwrap(), [false; 3]);
    let source = c::driver(&Request::new(vec![part])).unwrap().files[1].text.clone();
    for (line, contradiction) in BITS {
        assert!(source.contains(line), "{line}");
        assert!(!satisfiable(&z3, contradiction), "{contradiction}");
    }
    assert!(satisfiable(&z3, "(not (bvule (bvand o m) (bvlshr m #x00000001)))"), "what is not true is contradicted");
}

/// Every argument that the contracts of `span` and `has_room` admit, and the driver that `init` makes of every sound geometry
/// of a set with all shapes of addresses: it is what the contracts of the other functions ask for.
const EXHAUSTIVE: &str = include_str!("sound.c");

#[test]
fn init_makes_what_the_contracts_ask_for() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let catalogue = Catalogue::embedded().unwrap();
    let part = Part::new(catalogue.find("24lc256").unwrap(), [false; 3]);
    for file in c::driver(&Request::new(vec![part])).unwrap().files {
        fs::write(folder.path().join(file.name), file.text).unwrap();
    }
    let source = fs::read_to_string(folder.path().join("eeprom.c")).unwrap();
    fs::write(folder.path().join("main.c"), EXHAUSTIVE).unwrap();
    // As it is, and with what must then be noticed.
    for (right, wrong) in [
        ("", ""),
        ("span(0u, part->block_select_shift)", "span(0u, part->block_select_shift) * 2u"),
        (
            "data_bytes(buffer_bytes, header, driver->read_data_max)",
            "data_bytes(buffer_bytes, 0u, driver->read_data_max)",
        ),
        ("(((1u << bits) - 1u) << shift)", "((1u << bits) - 1u)"),
    ] {
        fs::write(folder.path().join("eeprom.c"), source.replacen(right, wrong, 1)).unwrap();
        let build = ["-std=c99", "-O1", "main.c", "-o", "main"];
        succeeded(&Command::new(&cc).args(build).current_dir(folder.path()).output().unwrap());
        let output = Command::new(folder.path().join("main")).output().unwrap();
        assert_eq!(
            output.status.success(),
            right.is_empty(),
            "`{wrong}`: {}{}",
            text(&output.stdout),
            text(&output.stderr)
        );
    }
}

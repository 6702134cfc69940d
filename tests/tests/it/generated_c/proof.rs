//! What the prover says of the generated C: the contracts in it hold for every geometry that `init` accepts, and no planted
//! mistake is taken for proved. `--nocapture` prints the table of goals.

use std::collections::BTreeMap;
use std::env;
use std::ffi::OsString;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use pagewise_emit::{Part, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::search::scaled;
use pagewise_tests::tools;

use super::workshop::{succeeded, text};

/// A function that is proved; what it is proved to do; mistakes with which that must not be proved any more.
struct Proved(&'static str, &'static str, &'static [(&'static str, &'static str)]);

const PROVED: &[Proved] = &[
    Proved(
        "check",
        "accepts no geometry that contradicts itself",
        &[
            ("bits + shift > 7u", "bits + shift > 8u"),
            ("capacity > reach", "capacity > reach + 1u"),
            ("if (header > 3u) {", "if (header > 4u) {"),
        ],
    ),
    Proved(
        "data_bytes",
        "header and data fit into the transfer",
        &[("transfer_bytes -= header_bytes;", "transfer_bytes -= header_bytes - 1u;")],
    ),
    Proved(
        "chunk_bytes",
        "stays in its page or block, the request and the limit, and gets on",
        &[("mask - place(offset, mask) + 1u", "mask + 1u"), ("if (bytes > data_max)", "if (bytes >= data_max + 1u)")],
    ),
    Proved(
        "put_header",
        "the word address, most significant byte first, and the block above it",
        &[
            ("header[i - 1u] = ", "header[header_bytes - i] = "),
            ("i = header_bytes; i > 0u; i--", "i = header_bytes; i > 1u; i--"),
            ("offset /= 0x100u", "offset /= 0x80u"),
        ],
    ),
    Proved(
        "locate",
        "the device address of each offset, 7 bits",
        &[
            (
                "put_header(offset, driver->header_bytes, header)",
                "put_header(offset + 1u, driver->header_bytes, header)",
            ),
            ("block * driver->block_unit", "block"),
        ],
    ),
    Proved("begin", "an access begins", &[("driver->step = access;", "driver->step = READ_STEP;")]),
    Proved(
        "next_access",
        "cut at pages where it writes, at read blocks where it reads, at both where it does both; a read or comparison never writes",
        &[
            ("uint32_t mask = driver->page_mask;", "uint32_t mask = driver->read_mask;"),
            ("mask > driver->read_mask", "mask < driver->read_mask"),
            ("if (driver->job <= WRITE_VERIFIED) {", "if (driver->job <= COMPARE) {"),
        ],
    ),
    Proved(
        "start_wait",
        "a wait has the whole bound",
        &[("driver->budget_us = driver->bound_us;", "driver->budget_us = driver->pause_us;")],
    ),
    Proved(
        "ask",
        "asks by a poll or by the access itself",
        &[(
            "driver->tries == ASKING ? driver->access : (uint8_t)",
            "driver->tries == LAST ? driver->access : (uint8_t)",
        )],
    ),
    Proved(
        "advance",
        "on to the next chunk",
        &[("driver->start += driver->chunk;", "driver->start += driver->chunk + 1u;")],
    ),
    Proved(
        "wrote",
        "a page write is waited for, and read back where that is wanted",
        &[("begin(driver, COMPARE_STEP);", "advance(driver);"), ("!(last && driver->lazy)", "!last")],
    ),
    Proved(
        "busy",
        "each try uses up some of the bound, no more than its pause; at its end the wait fails",
        &[
            ("driver->budget_us - step_us : 0u", "driver->budget_us : 0u"),
            ("driver->tries = LAST;\n    }\n    if", "driver->tries = FIRST;\n    }\n    if"),
        ],
    ),
    Proved(
        "refused",
        "an access is tried again once, after a wait",
        &[
            ("driver->tries = LAST;\n        driver->pending = false;", "driver->pending = false;"),
            (
                "return driver->step == WRITE_STEP ? EEPROM_WRITE_PROTECTED",
                "return driver->step == READ_STEP ? EEPROM_WRITE_PROTECTED",
            ),
        ],
    ),
    Proved(
        "answered",
        "what was written is stored",
        &[("    driver->unsettled = 0u;\n    driver->step", "    driver->step")],
    ),
    Proved("same", "all bytes of the chunk are compared", &[("if (expected != found) {", "if (expected > found) {")]),
    Proved(
        "accessed",
        "on with the next chunk, or with the write of a page that differs",
        &[("begin(driver, WRITE_STEP);", "begin(driver, READ_STEP);")],
    ),
    Proved(
        "load",
        "stays in the buffer",
        &[("driver->buffer + driver->header_bytes;", "driver->buffer + driver->header_bytes + 1u;")],
    ),
    Proved(
        "exchange",
        "the header of the offset before the data; the device address",
        &[
            (
                "const uint32_t send_length = driver->header_bytes + data;",
                "const uint32_t send_length = driver->header_bytes + data + 1u;",
            ),
            ("locate(driver, offset, send);", "locate(driver, offset + 1u, send);"),
        ],
    ),
    Proved(
        "transfer",
        "one page with its header, or a header and room for what is read; a write is noted before it is sent",
        &[
            ("data = driver->chunk;", "data = driver->chunk - 1u;"),
            ("driver->pending_offset = offset;", "driver->pending_offset = 0u;"),
            ("? driver->into + driver->start : driver->buffer;", "? driver->into : driver->buffer;"),
        ],
    ),
    Proved(
        "take",
        "what came of a transfer leads to the next step",
        &[
            ("return driver->step == POLL_STEP ? busy", "return driver->step != POLL_STEP ? busy"),
            (
                "if (driver->step == POLL_STEP) {\n        answered",
                "if (driver->step != POLL_STEP) {\n        answered",
            ),
        ],
    ),
    Proved(
        "admit",
        "a request outside the part is refused",
        &[("length > driver->capacity_bytes - offset", "length > driver->capacity_bytes")],
    ),
];

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

    /// Proved goals and all goals of each of these functions. Steps bound a search, so that a busy machine says the same;
    /// with a mistake in the source a few do.
    fn goals(&self, source: &str, functions: &[&str], steps: &str) -> BTreeMap<String, (u32, u32)> {
        let path = self.folder.path().join("eeprom.c");
        fs::write(&path, source).unwrap();
        let output = self
            .command(&self.frama_c)
            // That a pointer points to a function is said of `some_transfer` and `some_delay` by the contracts.
            .args(["-wp", "-wp-rte", "-rte-no-pointer-call", "-wp-prover", "z3", "-wp-steps", steps])
            .args(["-wp-timeout", "600", "-wp-par", "2", "-wp-fct", &functions.join(",")])
            .arg(path)
            .output()
            .unwrap();
        succeeded(&output);
        let mut goals: BTreeMap<String, (u32, u32)> = BTreeMap::new();
        let said = text(&output.stdout);
        for line in said.lines() {
            let Some((_, goal)) = line.split_once("] Goal typed_") else { continue };
            let (name, outcome) = goal.split_once(" : ").unwrap();
            // Of `wrote` and `wrote_all` the longer one is meant.
            let own = |function: &&&str| name.strip_prefix(**function).is_some_and(|rest| rest.starts_with('_'));
            let function =
                functions.iter().filter(own).max_by_key(|name| name.len()).unwrap_or_else(|| panic!("{line}"));
            let (proved, all) = goals.entry((*function).to_owned()).or_default();
            *proved += u32::from(outcome.starts_with("Valid"));
            *all += 1;
        }
        goals
    }
}

#[test]
fn every_contract_is_proved() {
    let Some((prover, source)) = Prover::new() else { return };
    let functions: Vec<&str> = PROVED.iter().map(|proved| proved.0).collect();
    let goals = prover.goals(&source, &functions, "3000000");
    let mut table = String::from("\n| Function | What is proved | Goals |\n|---|---|---|\n");
    for Proved(function, what, mistakes) in PROVED {
        let (proved, all) = goals.get(*function).copied().unwrap_or_default();
        assert!(proved == all && all >= 4 && !mistakes.is_empty(), "{function}: {proved} of {all} goals proved");
        table += &format!("| `{function}` | {what} | {all} |\n");
    }
    let all: u32 = goals.values().map(|(_, all)| all).sum();
    table += &format!("| all | no run-time error | {all} |\n\n");
    println!("{table}");
}

/// One in each function; all of them with `PAGEWISE_CASES=10`, as `.ci/long` does it.
#[test]
fn no_planted_mistake_is_proved() {
    let Some((prover, source)) = Prover::new() else { return };
    for Proved(function, _, mistakes) in PROVED {
        for (right, wrong) in mistakes.iter().take(scaled(1) as usize) {
            assert!(source.matches(right).count() == 1, "{function}: {right}");
            let goals = prover.goals(&source.replacen(right, wrong, 1), &[function], "300000");
            let (proved, all) = goals[*function];
            assert!(proved < all, "{function}: `{wrong}` was proved: {proved} of {all}");
        }
    }
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

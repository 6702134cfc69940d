//! What the prover says of the generated C: the contracts in it hold for every geometry that `init` accepts, and no planted
//! mistake is taken for proved.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use pagewise_emit::{Part, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::tools;

use super::workshop::{succeeded, text};

/// The functions that are proved, each with mistakes that must then not be proved.
const PROVED: [(&str, &[(&str, &str)]); 2] = [
    (
        "chunk_bytes",
        &[("mask - place(offset, mask) + 1u", "mask + 1u"), ("if (bytes > data_max)", "if (bytes >= data_max + 1u)")],
    ),
    (
        "put_header",
        &[
            ("header[i - 1u] = ", "header[header_bytes - i] = "),
            ("i > 0u; i--", "i > 1u; i--"),
            ("offset /= 0x100u", "offset /= 0x80u"),
        ],
    ),
];

/// What the contracts take for granted of single operations on 32 bits, turned round: no numbers may contradict it.
const CONTRADICTIONS: [&str; 1] = [
    // inside
    "(not (bvule (bvand o m) m))",
];

struct Prover {
    frama_c: PathBuf,
    folder: tempfile::TempDir,
}

impl Prover {
    /// With the header of a driver in its folder; and the source.
    fn new() -> Option<(Self, String)> {
        let frama_c = tools::need("frama-c", "frama-c-base")?;
        tools::need("z3", "z3")?;
        tools::need("why3", "why3")?;
        // The prover is found through a file that why3 writes once.
        succeeded(&Command::new("why3").args(["config", "detect"]).output().unwrap());
        let folder = tempfile::tempdir().unwrap();
        let catalogue = Catalogue::embedded().unwrap();
        let part = Part::new(catalogue.find("24lc256").unwrap(), [false; 3]);
        let files = c::driver(&Request::new(vec![part])).unwrap().files;
        fs::write(folder.path().join("eeprom.h"), &files[0].text).unwrap();
        Some((Self { frama_c, folder }, files[1].text.clone()))
    }

    /// Proved goals and all goals of some functions. Steps bound a search, so that a busy machine says the same.
    fn goals(&self, source: &str, functions: &str) -> (u32, u32) {
        let path = self.folder.path().join("eeprom.c");
        fs::write(&path, source).unwrap();
        let output = Command::new(&self.frama_c)
            .args(["-wp", "-wp-rte", "-wp-prover", "z3", "-wp-steps", "10000000", "-wp-timeout", "600"])
            .args(["-wp-par", "2", "-wp-fct", functions])
            .arg(path)
            .output()
            .unwrap();
        succeeded(&output);
        let said = text(&output.stdout);
        let line = said.lines().find_map(|line| line.split_once("Proved goals:")).unwrap_or_else(|| panic!("{said}")).1;
        let (proved, all) = line.split_once('/').unwrap();
        (proved.trim().parse().unwrap(), all.trim().parse().unwrap())
    }
}

#[test]
fn every_contract_is_proved() {
    let Some((prover, source)) = Prover::new() else { return };
    for (function, _) in PROVED {
        let (done, all) = prover.goals(&source, function);
        println!("{function}: {done} of {all} goals");
        assert!(done == all && all >= 5, "{function}: {done} of {all} goals proved");
    }
}

#[test]
fn no_planted_mistake_is_proved() {
    let Some((prover, source)) = Prover::new() else { return };
    for (function, mistakes) in PROVED {
        for (right, wrong) in mistakes {
            assert!(source.contains(right), "{right}");
            let (done, all) = prover.goals(&source.replacen(right, wrong, 1), function);
            assert!(done < all, "{function}: `{wrong}` was proved: {done} of {all}");
        }
    }
}

/// Whether the prover finds numbers of 32 bits for which this is true.
fn satisfiable(z3: &Path, what: &str) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bits.smt2");
    let numbers: String =
        ["o", "m", "k", "n", "b", "c"].iter().map(|name| format!("(declare-const {name} (_ BitVec 32))\n")).collect();
    fs::write(&path, format!("{numbers}(assert {what})\n(check-sat)\n")).unwrap();
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
    for what in CONTRADICTIONS {
        assert!(!satisfiable(&z3, what), "{what}");
    }
    assert!(satisfiable(&z3, "(not (bvule (bvand o m) (bvlshr m #x00000001)))"), "what is not true is contradicted");
}

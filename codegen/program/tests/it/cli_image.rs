//! `pagewise image` as a user calls it: images, manifest, and everything that is refused.

use std::fs;
use std::path::{Path, PathBuf};

use crate::cli_support::{Run, run, write};
use serde_json::Value;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

fn example(name: &str) -> String {
    format!("{}/../../examples/layouts/{name}", env!("CARGO_MANIFEST_DIR"))
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// A folder with a layout `l.toml` and units `u.csv`; images go to `out`.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new(layout: &str, units: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), "l.toml", layout);
        write(folder.path(), "u.csv", units);
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, more: &[&str]) -> Run {
        self.run_into("out", more)
    }

    fn run_into(&self, out: &str, more: &[&str]) -> Run {
        let [layout, units, out] = ["l.toml", "u.csv", out].map(|name| self.path(name).display().to_string());
        let mut arguments = vec!["image", &layout, "--part", "24lc32a", "--units", &units, "--output", &out];
        arguments.extend(more);
        run(&arguments)
    }

    /// Messages of a run that must fail and write nothing.
    fn refused(&self, more: &[&str]) -> Vec<String> {
        let before = names(self.folder.path());
        let run = self.run(more);
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{}", run.err);
        assert!(!run.err.contains("panicked"), "{}", run.err);
        assert_eq!(names(self.folder.path()), before, "something was written");
        let prefix = format!("{}/", self.folder.path().display());
        run.err.lines().map(|line| line.replace(&prefix, "")).collect()
    }
}

const LAYOUT: &str = "name = \"l\"\n\
    [[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 8\n\
    [[region]]\nname = \"mac\"\nkind = \"eui-48\"\n\
    [[region]]\nname = \"gain\"\nkind = \"i16\"\nendian = \"little\"\ncolumn = \"gain\"\n";

const UNITS: &str = "unit,serial,mac,gain\nA1,S-1,00-00-5E-00-53-01,-5\nA2,S-2,00:00:5e:00:53:02,0x10\n";

#[test]
fn every_unit_has_an_image_that_the_manifest_tells() {
    let bench = Bench::new(LAYOUT, UNITS);
    for (form, extension) in [("bin", "bin"), ("ihex", "hex"), ("srec", "srec")] {
        let answer = bench.run(&["--form", form, "--overwrite", "--json"]).json();
        let out = bench.path("out");
        assert_eq!(names(&out), [format!("A1.{extension}"), format!("A2.{extension}"), "manifest.jsonl".into()]);
        let manifest = fs::read_to_string(out.join("manifest.jsonl")).unwrap();
        let lines: Vec<Value> = manifest.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert_eq!(answer["images"].as_array().unwrap(), &lines);
        for (line, unit) in lines.iter().zip(["A1", "A2"]) {
            assert_eq!((&line["unit"], &line["form"], &line["part"]), (&unit.into(), &form.into(), &"24lc32a".into()));
            let file = fs::read(out.join(line["file"].as_str().unwrap())).unwrap();
            let digest: String = Sha256::digest(&file).iter().map(|byte| format!("{byte:02x}")).collect();
            assert_eq!(line["sha256"], digest.as_str());
        }
        assert_eq!(lines[1]["values"][1]["value"], "00-00-5E-00-53-02");
        assert_eq!(answer["notes"][0]["units"], 2);
    }
    let answer = bench.run(&["--form", "bin", "--overwrite"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let image = fs::read(bench.path("out/A1.bin")).unwrap();
    assert_eq!(image.len(), 4096);
    assert_eq!(image[..16], [b'S', b'-', b'1', 0, 0, 0, 0, 0, 0, 0, 0x5E, 0, 0x53, 1, 0xFB, 0xFF]);
    assert!(image[16..].iter().all(|byte| *byte == 0xFF));
}

#[test]
fn the_examples_build() {
    let out = tempfile::tempdir().unwrap();
    for (name, part, images) in [("field-gateway", "24lc02b", 6), ("press-counter", "24lc128", 3)] {
        let folder = out.path().join(name).display().to_string();
        let [layout, units] = [example(&format!("{name}.toml")), example(&format!("{name}-units.csv"))];
        let run = run(&["image", &layout, "--part", part, "--units", &units, "-o", &folder]);
        assert_eq!((run.code, run.err.as_str()), (0, ""));
        assert_eq!(names(folder.as_ref()).len(), images + 1);
    }
}

#[test]
fn every_bad_row_is_told_with_its_line_and_column() {
    let units = "unit,serial,mac,gain\n\
        A1,S-1,00-00-5E-00-53-01,-5\n\
        A2,S-2,01-00-5E-90-10-00,5\n\
        A3,S-3,00-00-00-00-00-00,5\n\
        A4,S-4,FF-FF-FF-FF-FF-FF,5\n\
        A5,S-5,00-00-5E-00-53-01,5\n\
        A6,S-1,00-00-5E-00-53-06,5\n\
        A7,S 7,00-00-5E-00-53-07,5\n\
        A8,S-12345678,00-00-5E-00-53-08,5\n\
        A9,S-9,00-00-5E-00-53,5\n\
        A10,S-10,00-00-5E-00-53-10,40000\n";
    let told = Bench::new(LAYOUT, units).refused(&[]);
    for (index, part) in [
        "u.csv:3: `mac`: 01-00-5E-90-10-00 has the group bit set",
        "u.csv:4: `mac`: 00-00-00-00-00-00 is all zero",
        "u.csv:5: `mac`: FF-FF-FF-FF-FF-FF is all ones",
        "u.csv:6: `mac`: 00-00-5E-00-53-01 stands also in line 2, column `mac`",
        "u.csv:7: `serial`: S-1 stands also in line 2, column `serial`",
        "u.csv:8: `serial`: `S 7` is not a serial number",
        "u.csv:9: `serial`: takes 10 bytes, 8 are there",
        "u.csv:10: `mac`: `00-00-5E-00-53` is not an EUI-48",
        "u.csv:11: `gain`: 40000 does not fit i16",
    ]
    .iter()
    .enumerate()
    {
        assert!(told[index].starts_with(part), "{part}: {told:#?}");
    }
    assert_eq!(told.len(), 9, "{told:#?}");
}

#[test]
fn tables_that_are_none_are_refused() {
    for (units, parts) in [
        ("", vec!["holds no row"]),
        ("unit,serial,mac,gain\n", vec!["u.csv:1: holds no unit"]),
        ("serial,mac,gain\nS-1,00-00-5E-00-53-01,1\n", vec!["u.csv:1: `unit`: the column is missing"]),
        ("unit,serial,Mac,gain\nA,S-1,00-00-5E-00-53-01,1\n", vec!["`mac`: the column is missing"]),
        ("unit,serial,mac,gain,gain\nA,S-1,00-00-5E-00-53-01,1,1\n", vec!["`gain`: names two columns"]),
        ("unit,serial,mac,gain,\nA,S-1,00-00-5E-00-53-01,1,1\n", vec!["column 5 has no name"]),
        ("unit,serial,mac,gain\nA,S-1,00-00-5E-00-53-01\n", vec!["u.csv:2: has 3 cells, the first row 4"]),
        ("unit,serial,mac,gain\nA,,00-00-5E-00-53-01,1\n", vec!["u.csv:2: `serial`: is empty"]),
        (
            "unit,serial,mac,gain\nA,S-1,00-00-5E-00-53-01,1\na,S-2,00-00-5E-00-53-02,1\n",
            vec!["u.csv:3: `unit`: `a` is also the unit of line 2"],
        ),
        ("unit,serial,mac,gain\n../../A,S-1,00-00-5E-00-53-01,1\n", vec!["cannot name a file on every system"]),
        ("unit,serial,mac,gain\n.a,S-1,00-00-5E-00-53-01,1\n", vec!["cannot name a file on every system"]),
        ("unit,serial,mac,gain\n,S-1,00-00-5E-00-53-01,1\n", vec!["u.csv:2: `unit`: is empty"]),
    ] {
        let told = Bench::new(LAYOUT, units).refused(&[]);
        assert_eq!(told.len(), parts.len(), "{units}: {told:#?}");
        assert!(told.iter().zip(&parts).all(|(told, part)| told.contains(part)), "{parts:?}: {told:#?}");
    }
    let latin = Bench::new(LAYOUT, "");
    fs::write(latin.path("u.csv"), b"unit,serial,mac,gain\nA,\xB5,00-00-5E-00-53-01,1\n").unwrap();
    assert!(latin.refused(&[])[0].contains("u.csv:2: is not UTF-8 text"));
}

#[test]
fn what_spreadsheets_write_is_read() {
    for separator in [";", "\t"] {
        let bench = Bench::new(LAYOUT, &UNITS.replace(',', separator));
        assert_eq!(bench.run(&["--json"]).json()["images"].as_array().unwrap().len(), 2);
    }
    let units = "\u{FEFF}unit,serial,mac,gain,remark\r\n\"A1\", S-1 ,00-00-5E-00-53-01,1,\"a, b\"\r\n,,,,\r\n";
    let bench = Bench::new(LAYOUT, units);
    let answer = bench.run(&["--json"]).json();
    assert_eq!(answer["images"].as_array().unwrap().len(), 1);
    assert_eq!(answer["unused_columns"][0], "remark");
}

/// Two regions of one unit, or an address of one column in another: one address is one device's.
#[test]
fn an_address_stands_once_whichever_region_it_is_in() {
    let layout =
        "name = \"l\"\n[[region]]\nname = \"a\"\nkind = \"eui-48\"\n[[region]]\nname = \"b\"\nkind = \"eui-48\"\n";
    let units = "unit,a,b\nx,00-00-5E-00-53-01,00-00-5E-00-53-01\ny,00-00-5E-00-53-02,00-00-5E-00-53-03\nz,00-00-5E-00-53-03,00-00-5E-00-53-04\n";
    let told = Bench::new(layout, units).refused(&[]);
    assert!(told[0].starts_with("u.csv:2: `b`: 00-00-5E-00-53-01 stands also in line 2, column `a`"), "{told:#?}");
    assert!(told[1].starts_with("u.csv:4: `a`: 00-00-5E-00-53-03 stands also in line 3, column `b`"), "{told:#?}");
}

#[test]
fn a_layout_with_columns_needs_units_and_one_without_gives_one_image() {
    let bench = Bench::new(LAYOUT, "");
    let [layout, out] = ["l.toml", "out"].map(|name| bench.path(name).display().to_string());
    let refused = run(&["image", &layout, "--part", "24lc32a", "-o", &out]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("takes values per unit from the columns serial, mac, gain"), "{}", refused.err);
    let bench = Bench::new("name = \"l\"\n[[region]]\nname = \"a\"\nkind = \"u8\"\nvalue = 7\n", "");
    let [layout, out] = ["l.toml", "out"].map(|name| bench.path(name).display().to_string());
    assert_eq!(run(&["image", &layout, "--part", "24lc32a", "-o", &out, "--form", "srec"]).code, 0);
    assert_eq!(names(&bench.path("out")), ["image.srec", "manifest.jsonl"]);
}

#[test]
fn folders_with_other_things_are_left_alone() {
    let bench = Bench::new(LAYOUT, UNITS);
    assert_eq!(bench.run(&[]).code, 0);
    let told = bench.refused(&[]);
    assert!(told[0].contains("holds 3 files already"), "{told:?}");
    let before = fs::read(bench.path("out/A1.hex")).unwrap();
    // A run that fails leaves what was there.
    write(bench.folder.path(), "u.csv", "unit,serial,mac,gain\nA1,S-1,00-00-00-00-00-00,1\n");
    bench.refused(&["--overwrite"]);
    assert_eq!(fs::read(bench.path("out/A1.hex")).unwrap(), before);
    // A run that succeeds leaves nothing of it.
    write(bench.folder.path(), "u.csv", "unit,serial,mac,gain\nB1,S-1,00-00-5E-00-53-01,1\n");
    assert_eq!(bench.run(&["--overwrite"]).code, 0);
    assert_eq!(names(&bench.path("out")), ["B1.hex", "manifest.jsonl"]);
    assert_eq!(names(bench.folder.path()), ["l.toml", "out", "u.csv"]);
    // A folder with something of the user's own.
    write(&bench.path("out"), "notes.txt", "mine");
    let told = bench.refused(&["--overwrite"]);
    assert!(told[0].contains("holds files that its manifest does not name: notes.txt"), "{told:?}");
    assert_eq!(fs::read_to_string(bench.path("out/notes.txt")).unwrap(), "mine");
    // A file in its place, a parent that is not there.
    write(bench.folder.path(), "plain", "x");
    let missing = "lies in a folder that does not exist";
    for (place, part) in [("plain", "is not a folder"), ("none/out", missing), ("plain/out", missing)] {
        let told = bench.run_into(place, &["--overwrite"]);
        assert_eq!((told.code, told.err.contains(part)), (2, true), "{}", told.err);
    }
}

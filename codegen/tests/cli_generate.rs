//! `pagewise generate` as a user runs it. That its output compiles is tested in the crate `pagewise-tests`.

mod cli_support;

use std::fs;
use std::path::Path;

use cli_support::{card, own_card, refused, run};

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_part_gives_a_module_with_sources() {
    let run = run(&["generate", "AT24C32E", "--straps", "a0=vcc"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    assert!(run.out.contains("pub const GEOMETRY: Geometry = Geometry::new(Parameters {\n"), "{}", run.out);
    assert!(run.out.contains("    device_address: 0x51,\n"), "{}", run.out);
    assert!(run.out.contains("published: DS20006109A (2018)"), "{}", run.out);
    assert!(run.out.contains("// Address pins: a2=gnd a1=gnd a0=vcc\n"), "{}", run.out);
}

#[test]
fn a_density_gives_the_generic_card_with_its_warnings() {
    let by_size = run(&["generate", "32kbit"]);
    assert_eq!(by_size.out, run(&["generate", "any-32k"]).out);
    assert!(by_size.out.contains("// NOT SAFE on these parts of the same density:\n// - 24aa32: "), "{}", by_size.out);
}

#[test]
fn assumptions_are_listed_in_the_header_and_in_json() {
    let text = run(&["generate", "24aa32"]).out;
    let header = text.split("use pagewise_driver").next().unwrap();
    assert!(header.contains("// - write_cycle_us = 15_000: the longest write cycle met"), "{header}");
    let json = run(&["generate", "24aa32", "--json"]).json();
    assert_eq!(json["text"], text);
    let cycle = json["assumptions"].as_array().unwrap().iter().find(|found| found["field"] == "write_cycle_us");
    assert_eq!(cycle.unwrap()["value"], "15_000");
    assert_eq!(json["file"], serde_json::Value::Null);
}

#[test]
fn a_file_is_written_whole_and_left_alone_when_nothing_changed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.rs");
    let shown = path.to_str().unwrap();
    let first = run(&["generate", "at24c32e", "-o", shown]);
    assert_eq!((first.code, first.err.as_str()), (0, ""));
    assert!(first.out.contains(": written, configuration of at24c32e"), "{}", first.out);
    assert_eq!(fs::read_to_string(&path).unwrap(), run(&["generate", "at24c32e"]).out);
    let again = run(&["generate", "at24c32e", "--output", shown, "--json"]).json();
    assert_eq!((again["file_changed"].as_bool(), again["file"].as_str()), (Some(false), Some(shown)));
    assert_eq!(names(folder.path()), ["part.rs"]);
}

#[test]
fn a_refused_run_leaves_the_old_file_untouched() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.rs");
    fs::write(&path, "old").unwrap();
    let shown = path.to_str().unwrap();
    refused(&["generate", "no-such-part", "-o", shown], "no card has this identifier");
    refused(&["generate", "24aa1025", "--straps", "a2=gnd", "-o", shown], "works only with a2 tied to vcc");
    refused(&["generate", "at24c32e", "--module-name", "Not-One", "-o", shown], "is no module name");
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
    assert_eq!(names(folder.path()), ["part.rs"]);
}

#[test]
fn places_that_are_no_files_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    refused(&["generate", "at24c32e", "-o", folder.path().to_str().unwrap()], "is not a file");
    let missing = folder.path().join("missing/part.rs");
    refused(&["generate", "at24c32e", "-o", missing.to_str().unwrap()], "cannot be written: No such file");
    assert!(names(folder.path()).is_empty());
}

#[test]
fn bad_values_are_refused() {
    refused(&["generate", "64m"], "no EEPROM of 64 Mbit = 8388608 bytes is known");
    refused(&["generate", "at24c32e", "--module-name", "mod"], "is a keyword of Rust");
    refused(&["generate", "at24c32e", "--lang", "cobol"], "invalid value 'cobol'");
    refused(&["generate", "at24c32e", "--straps", "a0"], "is no strap");
}

#[test]
fn hostile_card_texts_stay_inside_comments() {
    let folder = own_card(&card("\"x\\n}\\nfn evil() {} */ \\u202e {{ version }} {% if a %} \\\\\""));
    let run = run(&["generate", "own", "--cards", folder.path().to_str().unwrap()]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    assert!(run.out.contains("{{ version }} {% if a %}"), "kept as data: {}", run.out);
    for line in run.out.lines().filter(|line| line.contains("evil")) {
        assert!(line.trim_start().starts_with("//") && !line.contains("*/") && !line.contains('\u{202e}'), "{line}");
    }
}

#[test]
fn a_package_with_pins_of_its_own_changes_the_device_address() {
    let strapped = ["generate", "24aa025e48", "--straps", "a0=vcc,a1=vcc,a2=vcc"];
    let usual = run(&strapped).out;
    assert!(usual.contains("    device_address: 0x57,"), "{usual}");
    let small = run(&[&strapped[..], &["--package", "sot-23-6"]].concat()).out;
    assert!(small.contains("// Package: sot-23-6\n"), "{small}");
    assert!(small.contains("    device_address: 0x53,") && small.contains("bits 2-0 are 0 A1 A0"), "{small}");
}

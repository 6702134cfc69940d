//! `pagewise generate` as a user runs it. That its output compiles is tested in the crate `pagewise-tests`.

use std::fs;
use std::path::Path;

use crate::cli_support::{card, own_card, refused, run};

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
    assert!(run.out.contains("pub const GEOMETRY: Geometry = Geometry::new(\n    Parameters::new()\n"), "{}", run.out);
    assert!(run.out.contains("        .with_device_address(0x51)\n"), "{}", run.out);
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
    assert_eq!(json["files"][0]["text"], text);
    let cycle = json["assumptions"].as_array().unwrap().iter().find(|found| found["field"] == "write_cycle_us");
    assert_eq!(cycle.unwrap()["value"], "15_000");
    assert_eq!(json["files"][0]["file"], serde_json::Value::Null);
}

#[test]
fn a_file_is_written_whole_and_left_alone_when_nothing_changed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.rs");
    let shown = path.to_str().unwrap();
    let first = run(&["generate", "at24c32e", "-o", shown]);
    assert_eq!((first.code, first.err.as_str()), (0, ""));
    assert!(first.out.contains(": written, for at24c32e (32 kbit = 4096 bytes)"), "{}", first.out);
    assert_eq!(fs::read_to_string(&path).unwrap(), run(&["generate", "at24c32e"]).out);
    let again = run(&["generate", "at24c32e", "--output", shown, "--json"]).json();
    let file = &again["files"][0];
    assert_eq!((file["file_changed"].as_bool(), file["file"].as_str()), (Some(false), Some(shown)));
    assert_eq!(names(folder.path()), ["part.rs"]);
}

#[test]
fn a_refused_run_leaves_the_old_file_untouched() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.rs");
    fs::write(&path, "old").unwrap();
    let shown = path.to_str().unwrap();
    refused(&["generate", "no-such-part", "-o", shown], "no card is called");
    refused(&["generate", "24aa1025", "--straps", "a2=gnd", "-o", shown], "works only with a2 tied to vcc");
    refused(&["generate", "at24c32e", "--module-name", "Not-One", "-o", shown], "is not a module name");
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
    refused(&["generate", "at24c32e", "--lang", "pascal"], "invalid value 'pascal'");
    refused(&["generate", "at24c32e", "--straps", "a0"], "is not a strap");
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
    assert!(usual.contains(".with_device_address(0x57)"), "{usual}");
    let small = run(&[&strapped[..], &["--package", "sot-23-6"]].concat()).out;
    assert!(small.contains("// Package: sot-23-6\n"), "{small}");
    assert!(small.contains(".with_device_address(0x53)") && small.contains("bits 2-0 are 0 A1 A0"), "{small}");
}

#[test]
fn several_parts_give_what_is_safe_on_all_with_its_price() {
    let run = run(&["generate", "24lc256", "24lc64"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    assert!(
        run.out.contains(".with_page_bytes(32)\n") && run.out.contains(".with_capacity_bytes(8192)\n"),
        "{}",
        run.out
    );
    assert!(run.out.contains("// - page_bytes = 32: set by 24lc64 (published: "), "{}", run.out);
    assert!(run.out.contains("// - 24lc256: 24576 of 32768 bytes stay unused"), "{}", run.out);
    let json = crate::cli_support::run(&["generate", "24lc256", "24lc64", "--json"]).json();
    assert_eq!(json["cards"], serde_json::json!(["24lc256", "24lc64"]));
    let limit = json["limits"].as_array().unwrap().iter().find(|limit| limit["field"] == "page_bytes").unwrap();
    assert_eq!(limit["others"], serde_json::json!([{ "part": "24lc256", "value": 64 }]));
    let cost = json["costs"].as_array().unwrap().iter().find(|cost| cost["field"] == "page_bytes").unwrap();
    assert_eq!((cost["own"].as_u64(), cost["common"].as_u64()), (Some(64), Some(32)));
}

#[test]
fn parts_without_a_common_setting_are_refused_one_by_one_with_the_way_out() {
    let run = run(&["generate", "24lc256", "24lc01b", "24lc64", "24aa1025"]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let lines: Vec<&str> = run.err.lines().collect();
    assert_eq!(lines.len(), 2, "{}", run.err);
    assert!(lines[0].starts_with("24lc01b: takes 1 word-address byte where 24lc256 takes 2"), "{}", run.err);
    assert!(lines[1].starts_with("24aa1025: has other block-select bits"), "{}", run.err);
    assert!(lines.iter().all(|line| line.contains("--choose OFFSET:LENGTH")), "{}", run.err);
    let chosen = crate::cli_support::run(&["generate", "24lc256", "24lc01b", "24aa1025", "--choose", "0x10:8"]);
    assert_eq!((chosen.code, chosen.err.as_str()), (0, ""));
    assert!(chosen.out.contains("pub const CANDIDATES: [Candidate; 3] = [\n"), "{}", chosen.out);
    refused(&["generate", "24lc256", "24lc01b", "--choose", "0x80:8"], "does not lie inside 1 kbit = 128 bytes");
    refused(&["generate", "24lc256", "24LC256"], "24lc256: is named twice");
    refused(&["generate", "24lc256", "--choose", "8"], "write OFFSET:LENGTH");
}

#[test]
fn c_is_written_as_header_and_source() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.h");
    let shown = path.to_str().unwrap();
    let run = run(&["generate", "24lc256", "--lang", "c", "-o", shown]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    assert_eq!(names(folder.path()), ["store.c", "store.h"]);
    let source = fs::read_to_string(folder.path().join("store.c")).unwrap();
    assert!(source.contains("#include \"store.h\"") && source.contains("const store_geometry store_part"), "{source}");
    refused(
        &["generate", "24lc256", "--lang", "c", "-o", folder.path().join("a.rs").to_str().unwrap()],
        "neither a header",
    );
    let header = folder.path().join("string.h");
    refused(&["generate", "24lc256", "--lang", "c", "-o", header.to_str().unwrap()], "is a header of the C library");
    // A file may be called after the part, whose name may begin with a digit; the names in it need another beginning.
    let part = folder.path().join("24c02c.h");
    let plain = ["generate", "at24c02c", "--lang", "c", "-o", part.to_str().unwrap()];
    refused(&plain, "add --module-name NAME");
    let named = crate::cli_support::run(&[&plain[..], &["--module-name", "memory"]].concat());
    assert_eq!((named.code, named.err.as_str()), (0, ""));
    assert_eq!(names(folder.path()), ["24c02c.c", "24c02c.h", "store.c", "store.h"]);
    let source = fs::read_to_string(folder.path().join("24c02c.c")).unwrap();
    assert!(
        source.contains("#include \"24c02c.h\"") && source.contains("const memory_geometry memory_part"),
        "{source}"
    );
    let odd = folder.path().join("a\"b.h");
    let odd = ["generate", "at24c02c", "--lang", "c", "--module-name", "memory", "-o", odd.to_str().unwrap()];
    refused(&odd, "is not a file name for #include");
    let taken = ["generate", "at24c02c", "--lang", "c", "--module-name", "memory", "-o", header.to_str().unwrap()];
    refused(&taken, "is a header of the C library");
    assert_eq!(names(folder.path()), ["24c02c.c", "24c02c.h", "store.c", "store.h"]);
}

#[test]
fn a_source_that_cannot_be_written_leaves_the_old_header() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.h");
    fs::write(&path, "old").unwrap();
    fs::create_dir(folder.path().join("store.c")).unwrap();
    refused(&["generate", "24lc256", "--lang", "c", "-o", path.to_str().unwrap()], "store.c: is not a file");
    assert_eq!(fs::read_to_string(&path).unwrap(), "old");
    assert_eq!(names(folder.path()), ["store.c", "store.h"]);
}

#[test]
fn check_shows_the_difference_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.h");
    let arguments = ["generate", "24lc256", "--lang", "c", "-o", path.to_str().unwrap()];
    let check = [&arguments[..], &["--check"]].concat();
    let missing = run(&check);
    assert_eq!(missing.code, 1);
    assert!(
        missing.out.contains("store.h: is missing\n") && missing.out.contains("store.c: is missing\n"),
        "{}",
        missing.out
    );
    assert!(names(folder.path()).is_empty());
    assert_eq!(run(&arguments).code, 0);
    let same = run(&check);
    assert_eq!((same.code, same.out.matches(": as generated\n").count()), (0, 2), "{}", same.out);
    let text = fs::read_to_string(&path).unwrap();
    let edited = text.replace("#define STORE_PAGE_BYTES 64u", "#define STORE_PAGE_BYTES 128u\u{1b}[31m");
    fs::write(&path, &edited).unwrap();
    let differs = run(&check);
    assert_eq!(differs.code, 1);
    assert!(differs.out.contains("  -#define STORE_PAGE_BYTES 128u?[31m\n"), "{}", differs.out);
    assert!(differs.out.contains("  +#define STORE_PAGE_BYTES 64u\n"), "{}", differs.out);
    assert_eq!(fs::read_to_string(&path).unwrap(), edited, "nothing is written");
    let json = run(&[&check[..], &["--json"]].concat()).json();
    assert_eq!(
        (json["files"][0]["check"]["state"].as_str(), json["files"][1]["check"]["state"].as_str()),
        (Some("different"), Some("same"))
    );
    fs::write(&path, [0xFF, 0xFE]).unwrap();
    assert!(run(&check).out.contains("cannot be read, or is not text"));
    refused(&["generate", "24lc256", "--check"], "--check: has nothing to compare with; add --output FILE");
}

#[test]
fn a_crate_is_written_whole_or_not_at_all_and_never_over_other_files() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("serial-memory");
    let shown = place.to_str().unwrap();
    let generate = |more: &[&str]| run(&[&["generate", "24lc64", "--crate", shown], more].concat());
    let missing = generate(&["--check", "--json"]);
    assert_eq!((missing.code, missing.json()["files"][0]["check"]["state"].as_str()), (1, Some("missing")));
    assert!(names(folder.path()).is_empty(), "--check writes nothing");

    let json = generate(&["--json"]).json();
    let files = json["files"].as_array().unwrap();
    let name = |name: &str| files.iter().find(|file| file["name"] == name).unwrap_or_else(|| panic!("no {name}"));
    for expected in ["Cargo.toml", "src/lib.rs", "driver/Cargo.toml", "driver/src/plan.rs", "driver/LICENSE-MIT"] {
        let file = name(expected);
        assert_eq!(fs::read_to_string(place.join(expected)).unwrap(), file["text"].as_str().unwrap(), "{expected}");
        assert_eq!(file["file_changed"], true, "{expected}");
    }
    // The text that --output gives, but for what Cargo.toml needs: the folder has its own.
    let alone = run(&["generate", "24lc64"]).out;
    let (head, rest) = alone.split_once("//\n// In Cargo.toml:\n").unwrap();
    let (_, rest) = rest.split_once("\n\n").unwrap();
    assert_eq!(name("src/part.rs")["text"], format!("{head}\n{rest}"));
    assert!(name("Cargo.toml")["text"].as_str().unwrap().contains("name = \"serial_memory\"\n"));
    assert!(generate(&[]).out.contains(&format!("serial-memory: 0 files written, {} unchanged", files.len())));
    assert_eq!((generate(&["--check"]).code, generate(&["--check"]).out), (0, format!("{shown}: as generated\n")));

    fs::write(place.join("driver/src/plan.rs"), "// changed\n").unwrap();
    let differs = generate(&["--check"]);
    assert!(differs.code == 1 && differs.out.contains("plan.rs: differs") && !differs.out.contains("lib.rs"));
    // One file that cannot be written, and none is.
    fs::remove_file(place.join("src/lib.rs")).unwrap();
    fs::create_dir(place.join("src/lib.rs")).unwrap();
    refused(&["generate", "24lc64", "--crate", shown], "lib.rs: is not a file");
    assert_eq!(fs::read_to_string(place.join("driver/src/plan.rs")).unwrap(), "// changed\n");

    // The user's own crate stays.
    let own = folder.path().join("own");
    fs::create_dir(&own).unwrap();
    fs::write(own.join("Cargo.toml"), "[package]\nname = \"own\"\n").unwrap();
    refused(&["generate", "24lc64", "--crate", own.to_str().unwrap()], "holds files that were not generated");
    assert_eq!(names(&own), ["Cargo.toml"]);
    let text = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    refused(&["generate", "24lc64", "--crate", &text("std")], "`std` is another crate's name");
    refused(&["generate", "24lc64", "--crate", &text("a b\u{1b}[31m")], "does not name a crate");
    refused(&["generate", "24lc64", "--crate", &text("c"), "--lang", "c"], "is a crate of Rust");
    refused(&["generate", "no-such", "--crate", &text("new")], "no card is called");
    assert!(!folder.path().join("new").exists() && !folder.path().join("std").exists());
}

#[test]
fn records_whose_slots_lie_elsewhere_in_another_part_are_refused() {
    // Slots take whole pages: 32 bytes in one part, 64 in the other. Images are made for one part.
    let records = "name = \"two\"\n[[region]]\nname = \"store\"\nkind = \"records\"\noffset = 0x40\n\
                   [[region.record]]\nname = \"gain\"\nid = 1\nslots = 3\nkind = \"u32\"\nendian = \"little\"\nvalue = 7\n";
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("two.toml");
    fs::write(&path, records).unwrap();
    let layout = path.to_str().unwrap();
    for (parts, words) in [
        (["24lc64", "24lc256"], "`store` takes 192 bytes in 24lc256 and 96 in 24lc64: its slots take whole pages"),
        (["24lc256", "24lc64"], "`store` takes 96 bytes in 24lc64 and 192 in 24lc256: its slots take whole pages"),
    ] {
        refused(&["generate", parts[0], parts[1], "--layout", layout], words);
        refused(&["generate", parts[0], parts[1], "--layout", layout], "two.toml:2");
    }
    let alike = run(&["generate", "24lc64", "at24c32e", "--layout", layout]);
    assert_eq!((alike.code, alike.err.as_str()), (0, ""), "parts of the same page");
}

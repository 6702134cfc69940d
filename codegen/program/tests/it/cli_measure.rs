//! `pagewise measure` on a simulated part.

use std::fs;

use serde_json::Value;

use crate::cli_support::line::{Line, flat, image, unmarked};
use crate::cli_support::refused;

/// A part that holds something.
fn part(name: &str, capacity: usize) -> Line {
    let line = Line::new(8);
    fs::write(line.path("chip.bin"), image(3, capacity)).unwrap();
    let _ = name;
    line
}

fn measure(line: &Line, more: &[&str]) -> crate::cli_support::Run {
    line.run(&[&["measure", "--simulate", "--memory", "chip.bin"], more].concat())
}

const WRITE: [&str; 5] = ["--may-write", "--scratch", "0x100:256", "--saved", "copy"];

#[test]
fn by_reading_only_the_part_stays_as_it_is() {
    let line = part("24lc64", 8192);
    let run = measure(&line, &["--part", "24lc64"]);
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    let said = flat(&run);
    assert!(said.contains("fits word-address bytes: 2 (card: 2)"), "{said}");
    assert!(said.contains("page: not measured: by reading only nobody can tell; it takes --may-write"), "{said}");
    assert!(said.contains("What no sample settles"), "{said}");
    assert_eq!(line.chip(), image(3, 8192));
}

#[test]
fn a_part_with_another_marking_is_told() {
    let line = part("24lc64", 8192);
    let run = measure(&line, &[&["--part", "24lc256", "--trouble", "fitted=24lc64"], &WRITE[..]].concat());
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    let said = flat(&run);
    assert!(said.contains("differs capacity: 64 kbit = 8192 bytes (card: 256 kbit = 32768 bytes)"), "{said}");
    assert!(said.contains("differs in capacity, page"), "{said}");
    let fitting = said.split("Cards that differ in nothing that was measured:").nth(1).unwrap();
    assert!(fitting.contains("24lc64") && !fitting.contains("24lc256"), "{said}");
    assert_eq!(line.chip(), image(3, 8192), "the contents are as before");
}

#[test]
fn a_part_that_nobody_named_is_measured_into_json() {
    let line = part("24lc16b", 2048);
    let more = ["--trouble", "fitted=24lc16b", "--may-write", "--scratch", "0:64", "--saved", "copy", "--wp-by-hand"];
    let run = measure(&line, &[&more[..], &["--json"]].concat());
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    let value = run.json();
    let measured = |name: &str| value["facts"][name]["measured"].clone();
    assert_eq!((measured("width"), measured("capacity")), (Value::from(1), Value::from(2048)));
    assert_eq!(measured("page")["exactly"], 16);
    assert_eq!(measured("protection")["active_high"], true);
    assert!(measured("byte_cycle")["max_us"].as_u64().unwrap() > 500);
    assert_eq!((&value["simulated"], &value["compared"]), (&Value::from(true), &Value::Null));
    assert_eq!(line.chip(), image(3, 2048));
}

#[test]
fn a_part_that_was_pulled_out_is_put_back() {
    let line = part("24lc64", 8192);
    let run = measure(&line, &[&["--part", "24lc64", "--trouble", "unplugged=31"], &WRITE[..]].concat());
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    assert!(flat(&run).contains("put the part back: pagewise measure --restore copy"), "{}", run.out);
    assert_ne!(line.chip(), image(3, 8192), "something was in the scratch range");
    let again = measure(&line, &[&["--part", "24lc64"], &WRITE[..]].concat());
    assert_eq!(again.code, 2);
    assert!(again.err.contains("holds something already; put it back with --restore"), "{}", again.err);
    let restored = measure(&line, &["--part", "24lc64", "--restore", "copy"]);
    assert_eq!(restored.code, 0, "{}{}", restored.out, restored.err);
    assert!(unmarked(&restored.out).contains("bytes put back"), "{}", restored.out);
    assert_eq!(line.chip(), image(3, 8192));
}

#[test]
fn bad_requests_are_refused() {
    refused(&["measure"], "which bus to work on was not said");
    refused(&["measure", "--simulate"], "which part is simulated was not said");
    refused(&["measure", "--simulate", "--part", "24lc64", "--restore", "no/such"], "measure.jsonl: cannot be used");
    let scratch = ["measure", "--simulate", "--part", "24lc64", "--may-write", "--saved", "x", "--scratch"];
    refused(&[&scratch[..], &["0x80:256"]].concat(), "is not a multiple of 256");
    refused(&[&scratch[..], &["0:24"]].concat(), "are not a power of two");
}

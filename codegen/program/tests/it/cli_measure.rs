//! `pagewise measure` on a simulated part.

use std::fs;

use serde_json::Value;

use crate::cli_support::line::{Line, flat, image, unmarked};
use crate::cli_support::refused;

/// A part that holds something.
fn part(capacity: usize) -> Line {
    let line = Line::new(8);
    fs::write(line.path("chip.bin"), image(3, capacity)).unwrap();
    line
}

fn measure(line: &Line, more: &[&str]) -> crate::cli_support::Run {
    line.run(&[&["measure", "--simulate", "--memory", "chip.bin"], more].concat())
}

const WRITE: [&str; 5] = ["--may-write", "--scratch", "0x100:256", "--saved", "copy"];

#[test]
fn by_reading_only_the_part_stays_as_it_is() {
    let line = part(8192);
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
    let line = part(8192);
    let run = measure(&line, &[&["--part", "24lc256", "--trouble", "fitted=24lc64"], &WRITE[..]].concat());
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    let said = flat(&run);
    assert!(said.contains("differs capacity: 64 kbit = 8192 bytes (card: 256 kbit = 32768 bytes)"), "{said}");
    assert!(said.contains("differs in capacity, page"), "{said}");
    let fitting = said.split("Cards that differ in nothing that was measured:").nth(1).unwrap();
    assert!(fitting.contains("24lc64") && !fitting.contains("24lc256"), "{said}");
    assert_eq!(line.chip(), image(3, 8192), "the contents are as before");
    let wear = said.split("Wear: ").nth(1).unwrap();
    let cycles: f64 = wear.split(' ').next().unwrap().parse().unwrap();
    // Twenty timed writes of a byte, as many of a page, the markers, and what was put back.
    assert!((100.0..2000.0).contains(&cycles), "{said}");
    // Endurance of the 24LC256: 1,000,000 cycles (DS20001203), as on its card.
    let share = format!("{:.3} % of the 1 000 000 that its sheet states", cycles / 10_000.0);
    assert!(wear.contains(&share), "{share}: {said}");
}

/// What a part promises only where unused bits are zeros is not measured with others.
#[test]
fn a_part_that_demands_zeros_is_not_written_to() {
    let line = part(8192);
    let run = measure(&line, &[&["--part", "nm24c65"], &WRITE[..]].concat());
    assert_eq!(run.code, 2, "{}{}", run.out, run.err);
    assert!(run.err.contains("--may-write: nm24c65 demands zeros in unused bits of the word address"), "{}", run.err);
    assert!(!line.path("copy").exists());
    assert_eq!(measure(&line, &["--part", "nm24c65"]).code, 0, "reading does no harm");
    assert_eq!(line.chip(), image(3, 8192));
}

#[test]
fn a_part_that_nobody_named_is_measured_into_json() {
    let line = part(2048);
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
    let line = part(8192);
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

/// A part whose sheet does not say where a read comes back: 16 kbit, one word-address byte.
const UNSTATED: [&str; 2] = ["--part", "24lc16b"];

#[test]
fn samples_make_a_file_that_settles_structure_and_promises_nothing() {
    let line = part(2048);
    fs::create_dir(line.path("cards")).unwrap();
    for (index, supply) in ["3.3", "5"].iter().enumerate() {
        let saved = format!("copy{index}");
        let more = ["--scratch", "0:64", "--may-write", "--saved", &saved, "--supply", supply, "-o", "cards/16b.toml"];
        let run = measure(&line, &[&UNSTATED[..], &more].concat());
        assert_eq!(run.code, 0, "{}{}", run.out, run.err);
        assert!(flat(&run).contains("Sample written to cards/16b.toml"), "{}", run.out);
    }
    let text = fs::read_to_string(line.path("cards/16b.toml")).unwrap();
    assert!(text.contains("name = \"sample-2\"") && text.contains("Behind 40 writes of 16 bytes together"), "{text}");
    let show = ["show", "24lc16b", "--cards", "cards", "--json"];
    let refused = line.run(&show);
    assert!(
        refused.err.contains("was measured on the simulated bus, which shows a card and no part"),
        "{}",
        refused.err
    );

    // As if a real part had been measured.
    let real = text.replace("simulated = true\n", "");
    fs::write(line.path("cards/16b.toml"), &real).unwrap();
    let shown = line.run(&show);
    assert_eq!(shown.code, 0, "{}", shown.err);
    let value = shown.json();
    let card = find(&value, "read_wrap_bytes").expect("the card's value");
    assert_eq!((&card["value"], &card["basis"]), (&Value::from(256), &Value::from("measured")), "{card}");
    let source = card["source"].as_str().unwrap();
    assert!(
        source.contains("2 samples") && source.contains("3.3 V, 5 V") && source.contains("SCL not stated"),
        "{source}"
    );
    // What the sheet states stays the sheet's, and what it does not state of times stays open.
    for field in ["page_bytes", "write_cycle_max_us"] {
        assert_ne!(find(&value, field).unwrap()["basis"], "measured", "{field}");
    }

    let other = real.replacen("page_bytes = 16", "page_bytes = 32", 1);
    fs::write(line.path("cards/16b.toml"), other).unwrap();
    let refused = line.run(&show);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("is 32 on sample `sample-1`, the sheet says 16"), "{}", refused.err);

    // Samples that do not agree settle nothing.
    fs::write(line.path("cards/16b.toml"), real.replacen("read_wrap_bytes = 256", "read_wrap_bytes = 2048", 1))
        .unwrap();
    let value = line.run(&show).json();
    assert_eq!(find(&value, "read_wrap_bytes").unwrap()["basis"], "assumed");
}

/// The first object under this key, however deep.
fn find<'v>(value: &'v Value, key: &str) -> Option<&'v Value> {
    match value {
        Value::Object(map) => {
            map.get(key).filter(|found| found.is_object()).or_else(|| map.values().find_map(|inner| find(inner, key)))
        }
        Value::Array(items) => items.iter().find_map(|inner| find(inner, key)),
        _ => None,
    }
}

const BOARD: &str = r#"
name = "reader"
fitted = "at24c16c"
footprint = "soic-8"
years_of_life = 5
temperature_min_c = 0
temperature_max_c = 50
yearly_volume = 10
[bus]
supply_v = 3.3
scl_khz = 100
pull_up_ohm = 4700
capacitance_pf = 80
other_addresses = []
[straps]
a0 = "gnd"
a1 = "gnd"
a2 = "gnd"
wp = "gnd"
[firmware]
device_address = 0x50
word_address_bytes = 1
page_bytes = 16
wait = "poll"
wait_ms = 10
[[region]]
name = "table"
offset = 0x80
length = 256
writes_per_day = 0.1
"#;

#[test]
fn the_conditions_of_a_verdict_are_planned_on_paper_and_settled_by_a_sample() {
    let line = part(2048);
    fs::write(line.path("reader.toml"), BOARD).unwrap();
    let paper = line.run(&["measure", "--for", "reader.toml", "--to", "24lc16b"]);
    assert_eq!(paper.code, 0, "{}", paper.err);
    let said = paper.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("[ ] measure its read runs over the whole array: read on and on"), "{said}");
    let more = ["--for", "reader.toml", "--to", "24lc16b", "--scratch", "0:64", "--may-write", "--saved", "copy"];
    let run = measure(&line, &[&["--part", "24lc16b"][..], &more].concat());
    let said = flat(&run);
    assert!(said.contains("before:") && said.contains("with this sample:"), "{said}");
    let after = said.split("with this sample:").nth(1).unwrap();
    assert!(!after.contains("[ ] measure its read runs over the whole array"), "{said}");
    assert_eq!(line.run(&["measure", "--for", "reader.toml"]).code, 2, "for which part?");
}

//! What is told of recordings of real chips, against what their README and the data sheets say.
//!
//! Source: `tests/data/recordings/README.md` of this project names the open dataset; page of the 24AA025UID: DS20005202A,
//! 16 bytes.

use std::path::{Path, PathBuf};

use pagewise_observe::{Certainty, Input, Observation, Program, board_file, observe};
use pagewise_part::card::Catalogue;
use serde_json::{Value, json};

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/recordings").join(name).with_extension("sr")
}

fn seen(names: &[&str]) -> Observation {
    let inputs: Vec<Input> = names.iter().map(|name| Input::of(path(name))).collect();
    observe(&inputs, &mut |_, _| {}).unwrap()
}

/// The value of a statement that must have been seen at least this surely, and where.
fn value(seen: &Observation, name: &str, at_least: Certainty) -> Value {
    let property = seen.property(name);
    assert!(property.sure.is_some_and(|sure| sure >= at_least), "{name}: {property:?}");
    assert!(!property.seen_at.is_empty(), "{name} is seen nowhere");
    property.value.clone()
}

fn not_seen(seen: &Observation, names: &[&str]) {
    for name in names {
        let property = seen.property(name);
        assert!(property.sure.is_none() && property.value.is_null() && !property.why.is_empty(), "{property:?}");
    }
}

const UID: [&str; 10] = [
    "24aa025uid-byte-writes-8-every-6ms",
    "24aa025uid-byte-writes-128-every-6ms",
    "24aa025uid-byte-writes-256-every-6ms",
    "24aa025uid-read-byte-writes-128-every-1ms-read",
    "24aa025uid-read-byte-writes-128-every-4ms-read",
    "24aa025uid-read-byte-writes-17-every-6ms-read",
    "24aa025uid-read-page-write-8-read",
    "24aa025uid-read-page-write-16-read",
    "24aa025uid-read-page-write-16-across-page-end-read",
    "24aa025uid-sequential-read-256",
];

#[test]
fn one_word_address_byte_at_0x50_and_400_khz_in_each_recording_of_the_24aa025uid() {
    for name in UID {
        let seen = seen(&[name]);
        assert_eq!(value(&seen, "device_addresses", Certainty::Shown), json!(["0x50"]), "{name}");
        assert_eq!(value(&seen, "word_address_bytes", Certainty::Guess), json!(1), "{name}");
        assert_eq!(value(&seen, "scl_khz", Certainty::Shown), json!(400.0), "{name}");
        // 4 MHz: one sample is 250 ns.
        assert_eq!(value(&seen, "t_low_ns", Certainty::Shown)["resolution"], 250, "{name}");
        not_seen(&seen, &["absent_addresses", "block_select_bits", "first_access_us", "read_across_block"]);
    }
    // What was written is read back in these: no other number explains it.
    for name in &UID[3..9] {
        assert_eq!(value(&seen(&[name]), "word_address_bytes", Certainty::Shown), json!(1), "{name}");
    }
}

#[test]
fn byte_writes_at_a_fixed_pace_are_told_as_such() {
    for (name, bytes) in [(UID[0], 8), (UID[1], 128), (UID[2], 256)] {
        let seen = seen(&[name]);
        let wait = value(&seen, "wait", Certainty::Likely);
        assert_eq!(wait["kind"], "fixed", "{name}");
        let us = wait["shortest_us"].as_f64().unwrap();
        assert!((5_900.0..6_100.0).contains(&us), "{name}: {us}");
        assert_eq!(value(&seen, "page_bytes", Certainty::Guess), json!(1), "{name}");
        let written = value(&seen, "regions_written", Certainty::Likely);
        assert_eq!(written, json!([{ "device": "0x50", "offset": 0, "length": bytes }]), "{name}");
        assert_eq!(value(&seen, "longest_transfer_bytes", Certainty::Shown)["write"], 2, "{name}");
        not_seen(&seen, &["regions_read", "part_page_bytes"]);
    }
}

#[test]
fn the_write_cycle_of_the_part_lies_between_refusal_and_answer() {
    // README: between 3.1 and 4.1 ms.
    let cycle = value(&seen(&[UID[3]]), "write_cycle_us", Certainty::Shown);
    let (least, most) = (cycle["at_least"].as_f64().unwrap(), cycle["at_most"].as_f64().unwrap());
    assert!((3_000.0..3_200.0).contains(&least) && (4_000.0..4_200.0).contains(&most), "{cycle}");
    let cycle = value(&seen(&[UID[4]]), "write_cycle_us", Certainty::Likely);
    assert!(cycle["at_least"].is_null() && (4_000.0..4_200.0).contains(&cycle["at_most"].as_f64().unwrap()), "{cycle}");
    // Refused writes at a steady pace are not polling, and are not surely said to be.
    assert!(seen(&[UID[3]]).property("wait").sure <= Some(Certainty::Guess));
}

#[test]
fn a_write_across_a_page_end_shows_the_page_of_the_part() {
    let across = seen(&[UID[8]]);
    assert_eq!(value(&across, "part_page_bytes", Certainty::Shown), json!(16));
    let memory = value(&across, "known_memory", Certainty::Shown);
    assert!(memory[0]["bytes"].as_str().unwrap().starts_with("08 09 0A 0B 0C 0D 0E 0F 00 01 02"), "{memory}");
    for name in [UID[6], UID[7]] {
        not_seen(&seen(&[name]), &["part_page_bytes", "page_bytes"]);
    }
}

#[test]
fn start_ups_show_who_is_there_and_what_is_sent() {
    let first = seen(&["24lc64-start-up-read-b"]);
    assert_eq!(value(&first, "device_addresses", Certainty::Shown), json!(["0x51"]));
    assert_eq!(value(&first, "absent_addresses", Certainty::Shown), json!(["0x50"]));
    assert_eq!(value(&first, "word_address_bytes", Certainty::Guess), json!(2));
    not_seen(&first, &["wait", "write_shape", "write_cycle_us", "regions_written"]);
    let second = seen(&["24lc02b-start-up-read"]);
    assert_eq!(value(&second, "word_address_bytes", Certainty::Guess), json!(1));
    let memory = value(&second, "known_memory", Certainty::Guess);
    assert_eq!(memory, json!([{ "device": "0x50", "offset": 0, "bytes": "C0 B4 04 22 60 00 00 00" }]));
    // One byte sent to a part that takes two: what the firmware sends is seen, and nothing is claimed of the part.
    let probe = seen(&["at24c128-one-byte-address-probe"]);
    assert_eq!(probe.property("word_address_bytes").sure, Some(Certainty::Guess));
    for seen in [first, second, probe] {
        let khz = value(&seen, "scl_khz", Certainty::Shown).as_f64().unwrap();
        assert!((85.0..95.0).contains(&khz), "{khz}");
        assert!(seen.remarks.is_empty(), "{:?}", seen.remarks);
    }
}

#[test]
fn several_recordings_of_one_board_add_up() {
    let all = seen(&UID);
    assert_eq!(value(&all, "word_address_bytes", Certainty::Shown), json!(1));
    assert_eq!(value(&all, "part_page_bytes", Certainty::Shown), json!(16));
    let cycle = value(&all, "write_cycle_us", Certainty::Shown);
    assert!((3_000.0..3_200.0).contains(&cycle["at_least"].as_f64().unwrap()), "{cycle}");
    assert_eq!(all.property("longest_transfer_bytes").value, json!({ "read": 256, "write": 17 }));
    let files: Vec<String> = all.property("part_page_bytes").seen_at.iter().map(|at| at.file.clone()).collect();
    assert!(files.contains(&path(UID[8]).display().to_string()), "{files:?}");
}

#[test]
fn the_board_file_holds_what_was_seen_and_asks_for_the_rest() {
    let text = board_file(&seen(&[UID[8], UID[1]]));
    for line in ["device_address = 0x50", "word_address_bytes = 1", "scl_khz = 400", "wait = \"fixed\""] {
        assert!(text.lines().any(|found| found == line), "{line} is missing:\n{text}");
    }
    // Nothing but comments, tables and settings; what no recording shows is asked for.
    for question in ["name", "fitted", "footprint", "supply_v", "pull_up_ohm", "capacitance_pf", "wp"] {
        assert!(text.lines().any(|line| line.starts_with(&format!("# {question} = "))), "{question} is not asked");
    }
    // Filled in, it is a board file that can be read.
    let filled: Vec<&str> =
        text.lines().map(|line| if line.contains(" = ") { line.trim_start_matches("# ") } else { line }).collect();
    let board = pagewise_judge::board::parse("board.toml", &filled.join("\n")).unwrap();
    assert_eq!((board.firmware.word_address_bytes, board.regions[0].length), (1, 128));
}

/// A board with the part that was recorded; A0 is tied as the recording's address says.
fn board(fitted: &str, a0: &str) -> pagewise_judge::board::Board {
    let text = format!(
        "name = \"bench\"\nfitted = \"{fitted}\"\nfootprint = \"dip-8\"\nyears_of_life = 1\n\
         [bus]\nsupply_v = 3.3\nscl_khz = 400\npull_up_ohm = 2200\ncapacitance_pf = 50\n\
         [straps]\na0 = \"{a0}\"\na1 = \"gnd\"\na2 = \"gnd\"\nwp = \"gnd\"\n\
         [firmware]\ndevice_address = 0x50\nword_address_bytes = 1\npage_bytes = 8\nwait = \"poll\"\nwait_ms = 5\n\
         [[region]]\nname = \"all\"\noffset = 0\nlength = 16\nwrites_per_day = 1\n"
    );
    pagewise_judge::board::parse("board.toml", &text).unwrap()
}

/// What the recorded program stored and read back, the model of the recorded part stores and reads back, too.
#[test]
fn no_recorded_read_contradicts_the_model_of_the_part_that_was_recorded() {
    let catalogue = Catalogue::embedded().unwrap();
    let others = [("24lc64-start-up-read-b", "24lc64", "vcc"), ("24lc02b-start-up-read", "24lc02b", "gnd")];
    // Nobody read what the AT24C128 does with its A2 bit; its successor has the same array.
    let probe = ("at24c128-one-byte-address-probe", "at24c128c", "gnd");
    let uid = UID.map(|name| (name, "24aa025uid", "gnd"));
    for (name, part, a0) in uid.into_iter().chain(others).chain([probe]) {
        let program = Program::read(&[Input::of(path(name))]).unwrap();
        assert!(program.transfers() > 0, "{name}");
        let contradicts = program.contradicts(&board(part, a0), catalogue.find(part).unwrap());
        assert_eq!(contradicts, None, "{name}");
    }
}

/// The canary: a model with another page or address is told, with the transfer.
#[test]
fn a_model_that_is_not_that_of_the_recorded_part_is_contradicted() {
    let catalogue = Catalogue::embedded().unwrap();
    let program = Program::read(&[Input::of(path(UID[8]))]).unwrap();
    let fitted = catalogue.find("24aa025uid").unwrap();
    let mut page = fitted.clone();
    page.page_bytes.value = 8;
    for (what, card, a0) in [("page", &page, "gnd"), ("address", catalogue.find("24lc64").unwrap(), "vcc")] {
        let told = program.contradicts(&board("24aa025uid", a0), card).unwrap_or_default();
        println!("{what}: {told}");
        assert!(told.contains("S 50W"), "{what}: {told}");
    }
}

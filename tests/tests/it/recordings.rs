//! Recordings of real chips, replayed into the simulated ones: every acknowledge bit and every byte that a real chip drove
//! must come out the same.
//!
//! Source of every check here: `tests/data/recordings`, from the open dataset that its README names.

use std::path::{Path, PathBuf};
use std::process::Command;

use pagewise_part::card::Catalogue;
use pagewise_simulator::recording::{Bus, BusEvent, CycleSeen, ReadOptions, Recording, RecordingReplay, Role};
use pagewise_simulator::{Rig, RigConfig, Straps, WireConfig};
use pagewise_tests::tools;

/// Where the recordings lie.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data/recordings")
}

/// File, card, level of A2..A0, and the numbers of acknowledge bits and bytes that its chips drove.
struct Case {
    file: &'static str,
    card: &'static str,
    strap: u8,
    acknowledges: u64,
    bytes: u64,
}

const fn case(file: &'static str, card: &'static str, strap: u8, acknowledges: u64, bytes: u64) -> Case {
    Case { file, card, strap, acknowledges, bytes }
}

/// The 24AA025UID is a 24AA025 whose last six bytes the maker has filled (table in the README of the recordings), and the
/// AT24C128 answers here as the AT24C128C does.
const CASES: [Case; 13] = [
    case("24aa025uid-byte-writes-8-every-6ms", "24aa025", 0, 24, 0),
    case("24aa025uid-byte-writes-128-every-6ms", "24aa025", 0, 384, 0),
    case("24aa025uid-byte-writes-256-every-6ms", "24aa025", 0, 768, 0),
    case("24aa025uid-read-byte-writes-128-every-1ms-read", "24aa025", 0, 198, 256),
    case("24aa025uid-read-byte-writes-128-every-4ms-read", "24aa025", 0, 390, 256),
    case("24aa025uid-read-byte-writes-17-every-6ms-read", "24aa025", 0, 57, 34),
    case("24aa025uid-read-page-write-8-read", "24aa025", 0, 16, 16),
    case("24aa025uid-read-page-write-16-read", "24aa025", 0, 24, 32),
    case("24aa025uid-read-page-write-16-across-page-end-read", "24aa025", 0, 24, 64),
    case("24aa025uid-sequential-read-256", "24aa025", 0, 3, 256),
    case("24lc64-start-up-read-b", "24lc64", 1, 6, 1),
    case("24lc02b-start-up-read", "24lc02b", 0, 4, 8),
    case("at24c128-one-byte-address-probe", "at24c128c", 0, 4, 0),
];

fn recording(file: &str) -> (Recording, Bus) {
    let recording = Recording::open(folder().join(file).with_extension("sr"), &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    recording.check(&bus).unwrap();
    (recording, bus)
}

fn rig(case: &Case) -> Rig {
    let catalogue = Catalogue::embedded().unwrap();
    let rig = Rig::new(RigConfig::default().with_supply_mv(3300));
    rig.attach(catalogue.find(case.card).unwrap().chip_model(), Straps::address(case.strap));
    rig
}

fn replay(case: &Case) -> RecordingReplay {
    let (recording, bus) = recording(case.file);
    rig(case).replay_recording(recording.events(&bus).unwrap()).unwrap()
}

#[test]
fn real_chips_and_simulated_ones_answer_alike_at_byte_level() {
    for case in &CASES {
        let replay = replay(case);
        assert_eq!(replay.differences, 0, "{}: {:#?}", case.file, replay.first_differences);
        assert_eq!((replay.acknowledges, replay.bytes), (case.acknowledges, case.bytes), "{}", case.file);
    }
}

#[test]
fn real_chips_and_simulated_ones_answer_alike_at_wire_level() {
    for case in &CASES {
        let (recording, bus) = recording(case.file);
        let bytes = replay(case);
        for config in [WireConfig::IDEAL, WireConfig::TYPICAL] {
            let edges = recording.edges(&bus).unwrap();
            let wire = rig(case).replay_recording_at_wire(edges, config, &bytes).unwrap();
            assert_eq!(wire.differences, 0, "{}: {:#?}", case.file, wire.first_differences);
            assert_eq!((wire.acknowledges, wire.bytes), (bytes.acknowledges, bytes.bytes), "{}", case.file);
        }
    }
}

/// Our reading in the words of the decoder.
fn ours(path: &Path) -> Vec<String> {
    let recording = Recording::open(path, &ReadOptions::default()).unwrap();
    let bus = recording.bus("SCL", "SDA").unwrap();
    let mut lines = Vec::new();
    for event in recording.events(&bus).unwrap() {
        match event.unwrap() {
            BusEvent::Start { repeated, .. } => lines.push(if repeated { "Start repeat" } else { "Start" }.to_owned()),
            BusEvent::Stop { .. } => lines.push("Stop".to_owned()),
            BusEvent::Byte(byte) => {
                let read = if byte.value & 1 == 1 { "read" } else { "write" };
                lines.push(match byte.role {
                    Role::Address => format!("Address {read}: {:02X}", byte.value >> 1),
                    Role::Written => format!("Data write: {:02X}", byte.value),
                    Role::Read => format!("Data read: {:02X}", byte.value),
                });
                lines.push(if byte.acked { "ACK" } else { "NACK" }.to_owned());
            }
            BusEvent::Supply { .. } | BusEvent::End { .. } => {}
        }
    }
    lines
}

fn sigrok(sigrok: &Path, arguments: &[&str], path: &Path) -> Vec<u8> {
    let run = Command::new(sigrok).arg("-i").arg(path).args(arguments).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    run.stdout
}

#[test]
fn an_independent_decoder_reads_the_same_transfers() {
    let Some(program) = tools::need("sigrok-cli", "sigrok-cli") else { return };
    let classes = "i2c=start:repeat-start:stop:ack:nack:address-read:address-write:data-read:data-write";
    for case in &CASES {
        let path = folder().join(case.file).with_extension("sr");
        let said = sigrok(&program, &["-P", "i2c:scl=SCL:sda=SDA", "-A", classes], &path);
        let said = String::from_utf8(said).unwrap();
        let lines = said.lines().map(|line| line.trim_start_matches("i2c-1: ").to_owned());
        let theirs: Vec<String> = lines.filter(|line| line != "Write" && line != "Read").collect();
        let ours = ours(&path);
        assert!(theirs.len() >= 10, "{}", case.file);
        let first = ours.iter().zip(&theirs).position(|(ours, theirs)| ours != theirs);
        assert!(ours == theirs, "{}: first difference at {first:?}", case.file);
    }
}

#[test]
fn the_same_signals_in_other_formats_read_alike() {
    let Some(program) = tools::need("sigrok-cli", "sigrok-cli") else { return };
    let folder_of_others = tempfile::tempdir().unwrap();
    for case in [&CASES[10], &CASES[11], &CASES[12]] {
        let path = folder().join(case.file).with_extension("sr");
        let expected = ours(&path);
        for (format, name) in [("vcd", "x.vcd"), ("csv", "x.csv"), ("csv:time=true:label=channel", "y.csv")] {
            let other = folder_of_others.path().join(name);
            std::fs::write(&other, sigrok(&program, &["-O", format], &path)).unwrap();
            assert!(ours(&other) == expected, "{} as {format}", case.file);
        }
    }
}

#[test]
fn write_cycles_of_a_real_chip_lie_where_its_recordings_bound_them() {
    // README of the recordings: a 24AA025UID's write cycle took between 3.1 and 4.1 ms.
    let cycles = replay(&CASES[3]).cycles;
    let refused = cycles.iter().filter_map(|cycle| Some(cycle.refused_ns? - cycle.stop_ns)).max().unwrap();
    assert!((3_000_000..3_200_000).contains(&refused), "{refused}");
    let answered = |cycles: &[CycleSeen]| cycles.iter().filter_map(|c| Some(c.answered_ns? - c.stop_ns)).min();
    let over = answered(&replay(&CASES[4]).cycles).unwrap();
    assert!((4_000_000..4_200_000).contains(&over), "{over}");
}

//! `pagewise observe` as a user calls it.
//!
//! Source of the recordings: `tests/data/recordings/README.md`.

use std::fmt::Write;
use std::fs;
use std::io::{BufWriter, Write as _};
use std::path::Path;
use std::process::Stdio;

use crate::cli_support::{command, finished, refused, run};

fn recording(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/recordings");
    folder.join(name).with_extension("sr").display().to_string()
}

const PROBE: &str = "at24c128-one-byte-address-probe";
const START_UP: &str = "24lc64-start-up-read-b";
const ACROSS: &str = "24aa025uid-read-page-write-16-across-page-end-read";

#[test]
fn an_answer_is_an_object_keyed_by_property() {
    let (first, second) = (recording(START_UP), recording(ACROSS));
    let answer = run(&["observe", &first, "--json"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let json = answer.json();
    assert_eq!((&json["command"], &json["files"][0]), (&"observe".into(), &first.clone().into()));
    assert_eq!(json["device_addresses"]["value"][0], "0x51");
    assert_eq!(json["device_addresses"]["sure"], "shown");
    let at = &json["device_addresses"]["seen_at"][0];
    assert_eq!(at["file"], first);
    assert!((0.053..0.055).contains(&at["seconds"].as_f64().unwrap()), "{at}");
    assert!(json["write_cycle_us"]["value"].is_null() && json["write_cycle_us"]["sure"].is_null());
    let both = run(&["observe", &second, &first, "--json"]).json();
    assert_eq!(both["device_addresses"]["value"], serde_json::json!(["0x50", "0x51"]));
    assert_eq!(both["word_address_bytes"]["value"], serde_json::json!({ "0x50": 1, "0x51": 2 }));
    assert!(both["absent_addresses"]["value"].is_null(), "0x50 answers in the other recording");
}

#[test]
fn people_read_how_sure_a_statement_is_and_what_was_not_seen() {
    let answer = run(&["observe", &recording(PROBE)]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    for part in ["shown  device_addresses", "guess  word_address_bytes", "not seen", "write_cycle_us"] {
        assert!(answer.out.contains(part), "{part}: {}", answer.out);
    }
}

#[test]
fn a_board_file_is_written_and_a_recording_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let board = folder.path().join("board.toml").display().to_string();
    let answer = run(&["observe", &recording(ACROSS), "--board", &board]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let text = fs::read_to_string(&board).unwrap();
    assert!(text.contains("\nword_address_bytes = 1\n") && text.contains("\n# fitted = "), "{text}");
    // It asks for what is missing: as it is, no board.
    let judged = run(&["swap", &board]);
    assert!(judged.code == 2 && judged.err.contains("`fitted`: is missing"), "{}", judged.err);
    let copy = folder.path().join("copy.sr");
    fs::copy(recording(ACROSS), &copy).unwrap();
    let copy = copy.display().to_string();
    refused(&["observe", &copy, "--board", &copy], "would write over it");
}

#[test]
fn bad_recordings_are_told_all_at_once_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.display().to_string()
    };
    let good = fs::read(recording(ACROSS)).unwrap();
    let cut = file("cut.sr", &good[..good.len() / 2]);
    let idle = file("idle.csv", b"; Samplerate: 1 MHz\nSCL,SDA\n1,1\n1,1\n");
    let text = file("notes.txt", b"no recording");
    let board = folder.path().join("board.toml").display().to_string();
    let answer = run(&["observe", &cut, &idle, &text, "/nowhere/x.sr", "--board", &board]);
    assert_eq!(answer.code, 2);
    for part in ["archive is not whole", "SCL never changes", "no recording that can be read", "cannot be read"] {
        assert!(answer.err.contains(part), "{part}: {}", answer.err);
    }
    assert!(!Path::new(&board).exists());
    let probe = recording(PROBE);
    refused(&["observe", &probe, "--scl", "SDA", "--sda", "SCL"], "channels swapped");
    refused(&["observe", &probe, "--scl", "CLK", "--sda", "SDA"], "no channel \"CLK\"");
    refused(&["observe", &probe, "--bus", "x"], "choose one with --bus");
    // A name comes before a number: the third channel of the one is called 2, that of the other D2.
    refused(&["observe", &probe, "--scl", "2", "--sda", "1"], "SCL never changes");
    assert_eq!(run(&["observe", &recording("24lc02b-start-up-read"), "--scl", "1", "--sda", "2"]).code, 0);
}

/// Edges of one poll that is refused, and of one write of a byte: time in microseconds, SCL, SDA.
fn message(text: &mut String, at: &mut u64, bytes: &[(u8, bool)]) {
    let mut edge = |us: u64, scl: u8, sda: u8| {
        *at += us;
        writeln!(text, "{},{scl},{sda}", *at).unwrap();
    };
    edge(5, 1, 0);
    edge(5, 0, 0);
    for (byte, acked) in bytes {
        for bit in (0..9).rev() {
            let level = if bit == 0 { u8::from(!acked) } else { byte >> (bit - 1) & 1 };
            edge(2, 0, level);
            edge(3, 1, level);
            edge(5, 0, level);
        }
    }
    edge(2, 0, 0);
    edge(3, 1, 0);
    edge(5, 1, 1);
}

/// A table of about this many megabytes: byte writes with polling, over and over.
fn long_table(path: &Path, megabytes: usize) {
    let mut file = BufWriter::new(fs::File::create(path).unwrap());
    file.write_all(b"Time [us],SCL,SDA\n0,1,1\n").unwrap();
    let (mut written, mut at, mut number) = (0, 10, 0_u8);
    while written < megabytes << 20 {
        let mut text = String::new();
        number = number.wrapping_add(1);
        message(&mut text, &mut at, &[(0xA0, true), (number, true), (number ^ 0x5A, true)]);
        for _ in 0..12 {
            at += 250;
            message(&mut text, &mut at, &[(0xA0, false)]);
        }
        at += 250;
        message(&mut text, &mut at, &[(0xA0, true)]);
        file.write_all(text.as_bytes()).unwrap();
        written += text.len();
    }
}

/// 64 MB, or what `PAGEWISE_RECORDING_MB` says: memory stays bounded, and the peak is printed.
#[cfg(target_os = "linux")]
#[test]
fn a_long_recording_takes_bounded_memory() {
    let megabytes = std::env::var("PAGEWISE_RECORDING_MB").ok().and_then(|text| text.parse().ok()).unwrap_or(64);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.csv");
    long_table(&path, megabytes);
    let mut program = command(&["observe", &path.display().to_string(), "--json"]);
    let child = program.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let watcher = std::thread::spawn(move || {
        let mut peak_kb = 0_u64;
        while let Ok(text) = fs::read_to_string(&status) {
            // A process that is over and not waited for has no such line.
            let Some(line) = text.lines().find(|line| line.starts_with("VmHWM")) else { break };
            peak_kb = line.split_whitespace().nth(1).and_then(|kb| kb.parse().ok()).unwrap_or(peak_kb);
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
        peak_kb
    });
    let run = finished(child.wait_with_output().unwrap());
    let peak_kb = watcher.join().unwrap();
    println!("{megabytes} MB of recording, peak {} MB of memory", peak_kb / 1024);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!((1..48 << 10).contains(&peak_kb), "{peak_kb} kB");
    let json = run.json();
    assert_eq!(json["wait"]["value"]["kind"], "poll");
    assert_eq!(json["wait"]["value"]["longest_run"], 12);
    assert_eq!(json["word_address_bytes"]["value"], 1);
}

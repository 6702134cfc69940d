//! `pagewise program`, `verify` and `dump` on a Linux device: the real program with the preload library before it.
#![cfg(target_os = "linux")]

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use pagewise_content::image::formats;
use pagewise_part::card::Catalogue;
use pagewise_tests::tools;

/// One and two word-address bytes, without block-select bits, with them next to R/W and on top.
const PARTS: [&str; 5] = ["24lc02b", "24lc16b", "24lc32a", "24lc512", "24aa1025"];
const DEVICE: &str = "/dev/i2c-7";

struct Bench {
    folder: tempfile::TempDir,
    part: &'static str,
    capacity: usize,
    image: Vec<u8>,
}

impl Bench {
    /// A part, an image for it, and nothing in the part.
    fn new(part: &'static str) -> Self {
        let card = Catalogue::embedded().unwrap().find(part).unwrap().clone();
        let capacity = card.reachable_bytes() as usize;
        let mut draw = 7u32;
        let image: Vec<u8> = (0..capacity.min(700))
            .map(|_| {
                draw = draw.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (draw >> 24) as u8
            })
            .collect();
        let bench = Self { folder: tempfile::tempdir().unwrap(), part, capacity, image };
        fs::write(bench.path("TI-1.bin"), &bench.image).unwrap();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn memory(&self) -> Vec<u8> {
        fs::read(self.path("chip.bin")).unwrap()
    }

    fn wanted(&self) -> Vec<u8> {
        let mut wanted = vec![0xFF; self.capacity];
        wanted[..self.image.len()].copy_from_slice(&self.image);
        wanted
    }

    /// A command of ours on the bus where `chip` is, with options of the bridge.
    fn run(&self, chip: &str, bridge: &[&str], command: &[&str]) -> Output {
        let program = tools::workspace_programs().join("pagewise");
        let chip = format!("{chip}={}", self.path("chip.bin").display());
        Command::new(&program)
            .args(["bridge", "--supply", "5", "--device", DEVICE, "--chip", &chip])
            .args(bridge)
            .arg("--")
            .arg(&program)
            .args(command)
            .args(["--part", self.part, "--bus", DEVICE])
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }
}

fn said(output: &Output) -> String {
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Bytes behind a START with R/W = 0, for every such START of a trace.
fn sent(trace: &str) -> Vec<usize> {
    let mut all = Vec::new();
    for line in trace.lines() {
        let mut open = false;
        for word in line.split_whitespace().skip_while(|word| *word != "S") {
            match word {
                "S" | "Sr" | "P" => open = false,
                word if word.ends_with("W+") || word.ends_with("W-") => {
                    open = true;
                    all.push(0);
                }
                word if word.contains('R') => open = false,
                _ if open => *all.last_mut().unwrap() += 1,
                _ => {}
            }
        }
    }
    all
}

#[test]
fn parts_are_programmed_verified_and_dumped_through_a_linux_device() {
    for part in PARTS {
        let bench = Bench::new(part);
        let programmed = bench.run(part, &["--virtual-time"], &["program", "TI-1.bin"]);
        assert_eq!(programmed.status.code(), Some(0), "{part}: {}", said(&programmed));
        assert!(said(&programmed).contains("no hazard seen"), "{part}: {}", said(&programmed));
        assert!(bench.memory() == bench.wanted(), "{part}");

        let header = usize::from(Catalogue::embedded().unwrap().find(part).unwrap().word_address_bytes.value);
        for command in [&["verify", "TI-1.bin"][..], &["dump", "-o", "d.hex"], &["dump", "-o", "d.srec"]] {
            let trace = bench.path("trace.txt");
            let options = ["--virtual-time", "--trace", trace.to_str().unwrap()];
            let read = bench.run(part, &options, command);
            assert_eq!(read.status.code(), Some(0), "{part}: {}", said(&read));
            assert!(said(&read).contains("no hazard seen"), "{part}: {}", said(&read));
            let sent = sent(&fs::read_to_string(&trace).unwrap());
            assert!(!sent.is_empty() && sent.iter().all(|bytes| *bytes <= header), "{part}: {command:?} wrote");
        }
        for form in ["d.hex", "d.srec"] {
            let dumped = formats::read(&bench.path(form), None).unwrap().flatten(bench.capacity as u32, 0xFF).unwrap();
            assert!(dumped == bench.wanted(), "{part}: {form}");
        }
    }
}

#[test]
fn the_journal_agrees_with_sha256sum_and_date() {
    let Some(sum) = tools::need("sha256sum", "coreutils") else { return };
    let bench = Bench::new("24lc32a");
    let programmed = bench.run("24lc32a", &["--virtual-time"], &["program", "TI-1.bin"]);
    assert_eq!(programmed.status.code(), Some(0), "{}", said(&programmed));
    let journal = fs::read_to_string(bench.path("line.jsonl")).unwrap();
    let records: Vec<serde_json::Value> = journal.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let events: Vec<&str> = records.iter().map(|record| record["event"].as_str().unwrap()).collect();
    assert_eq!(events, ["begin", "good"]);
    let sum = |path: PathBuf| {
        let output = Command::new(&sum).arg(path).output().unwrap();
        String::from_utf8_lossy(&output.stdout).split_whitespace().next().unwrap().to_owned()
    };
    let good = &records[1];
    assert_eq!(good["sha256"], sum(bench.path("TI-1.bin")));
    assert_eq!(good["part_sha256"], sum(bench.path("chip.bin")));
    assert_eq!(good["backup_sha256"], sum(bench.path(good["backup"].as_str().unwrap())));
    assert_eq!((&good["unit"], &good["part"], &good["bus"]), (&"TI-1".into(), &"24lc32a".into(), &DEVICE.into()));
    // Each line's digest is that of the digest before it, a line feed, and the line up to the comma before its own.
    let mut before = String::new();
    for line in journal.lines() {
        let (text, own) = line.split_once(",\"chain\":\"").unwrap();
        let own = own.strip_suffix("\"}").unwrap();
        fs::write(bench.path("text"), format!("{before}\n{text}")).unwrap();
        assert_eq!(own, sum(bench.path("text")));
        own.clone_into(&mut before);
    }
    let Some(date) = tools::need("date", "coreutils") else { return };
    for field in ["at", "begun_at"] {
        let read =
            Command::new(&date).args(["--utc", "+%s", "--date", good[field].as_str().unwrap()]).output().unwrap();
        let then: i64 = String::from_utf8_lossy(&read.stdout).trim().parse().unwrap();
        let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs() as i64;
        assert!((now - then).abs() < 600, "{field} is {then}, now is {now}");
    }
}

#[test]
fn faults_on_a_linux_device_stop_the_line_with_their_message() {
    type Case = (&'static str, &'static str, &'static [&'static str], &'static [&'static str], &'static str);
    let cases: [Case; 8] = [
        // Told, fitted, options of the bridge, of ours, what is said.
        ("24lc32a", "24lc32a", &["--write-protect"], &[], "[write-protect]"),
        ("24lc32a", "24lc02b", &[], &[], "[address-width]"),
        ("24lc16b", "24lc32a", &[], &[], "0x51 to 0x57 too"),
        ("at24c256c", "24lc64", &[], &[], "[page-wrap]"),
        ("24lc64", "24lc32a", &[], &[], "[capacity-alias]"),
        ("24lc32a", "24lc32a@0x53", &[], &[], "0x53 answers: check the straps"),
        ("24lc32a", "24lc32a@0x53", &["--nack", "eremoteio"], &[], "add --other-is-nack"),
        ("24lc32a", "24lc32a@0x53", &["--nack", "eremoteio"], &["--other-is-nack"], "0x53 answers: check the straps"),
    ];
    for (told, fitted, bridge, ours, message) in cases {
        let bench = Bench::new(told);
        let options = [&["--virtual-time"], bridge].concat();
        let stopped = bench.run(fitted, &options, &[&["program", "TI-1.bin"], ours].concat());
        let names = format!("{fitted} in a socket for {told}: {}", said(&stopped));
        assert_eq!(stopped.status.code(), Some(1), "{names}");
        assert!(said(&stopped).contains(message), "{names}");
        let journal = fs::read_to_string(bench.path("line.jsonl")).unwrap();
        assert!(!journal.contains("\"event\":\"good\"") && journal.contains("\"event\":\"failed\""), "{names}");
    }
}

/// What was good on the simulated bus is written all the same when hardware comes, and the journal keeps both.
#[test]
fn a_simulated_good_does_not_count_on_hardware() {
    let bench = Bench::new("24lc32a");
    let simulated = Command::new(tools::workspace_programs().join("pagewise"))
        .args(["program", "TI-1.bin", "--part", "24lc32a", "--simulate"])
        .current_dir(bench.folder.path())
        .output()
        .unwrap();
    assert_eq!(simulated.status.code(), Some(0), "{}", said(&simulated));
    let hardware = bench.run("24lc32a", &["--virtual-time"], &["program", "TI-1.bin"]);
    assert_eq!(hardware.status.code(), Some(0), "{}", said(&hardware));
    assert!(said(&hardware).contains("on a simulated part, not on hardware"), "{}", said(&hardware));
    assert!(!String::from_utf8_lossy(&hardware.stdout).contains("simulated  "), "{}", said(&hardware));
    assert!(bench.memory() == bench.wanted());
    let again = bench.run("24lc32a", &["--virtual-time"], &["program", "TI-1.bin"]);
    assert!(said(&again).contains("already good"), "{}", said(&again));
}

/// One image for two units on hardware, and the part is not exchanged between them.
#[test]
fn a_part_left_in_a_linux_socket_is_recognised() {
    let bench = Bench::new("24lc16b");
    let first = bench.run("24lc16b", &["--virtual-time"], &["program", "TI-1.bin", "--unit", "U1"]);
    assert_eq!(first.status.code(), Some(0), "{}", said(&first));
    let second = bench.run("24lc16b", &["--virtual-time"], &["program", "TI-1.bin", "--unit", "U2"]);
    assert_eq!(second.status.code(), Some(1), "{}", said(&second));
    assert!(said(&second).contains("the part of unit `U1`"), "{}", said(&second));
}

#[test]
fn an_adapter_with_errors_of_its_own_needs_its_option() {
    let bench = Bench::new("24lc32a");
    let options = ["--virtual-time", "--nack", "eremoteio"];
    let stopped = bench.run("24lc32a", &options, &["program", "TI-1.bin"]);
    assert_eq!(stopped.status.code(), Some(1), "{}", said(&stopped));
    assert!(said(&stopped).contains("add --other-is-nack"), "{}", said(&stopped));
    let good = bench.run("24lc32a", &options, &["program", "TI-1.bin", "--other-is-nack"]);
    assert_eq!(good.status.code(), Some(0), "{}", said(&good));
    assert!(bench.memory() == bench.wanted());
}

#[test]
fn foreign_contents_are_refused_untouched_and_kept_when_they_are_overwritten() {
    let bench = Bench::new("24lc16b");
    let foreign: Vec<u8> = (0..bench.capacity).map(|n| (n * 7 % 251) as u8).collect();
    fs::write(bench.path("chip.bin"), &foreign).unwrap();
    let refused = bench.run("24lc16b", &["--virtual-time"], &["program", "TI-1.bin"]);
    assert_eq!(refused.status.code(), Some(1), "{}", said(&refused));
    assert!(said(&refused).contains("refused") && said(&refused).contains("--overwrite"), "{}", said(&refused));
    assert!(bench.memory() == foreign);
    let good = bench.run("24lc16b", &["--virtual-time"], &["program", "TI-1.bin", "--overwrite"]);
    assert_eq!(good.status.code(), Some(0), "{}", said(&good));
    let backups: Vec<_> = fs::read_dir(bench.path("backups")).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(backups.len(), 1);
    assert!(fs::read(&backups[0]).unwrap() == foreign);
    let memory = bench.memory();
    assert!(
        memory[..bench.image.len()] == bench.image[..] && memory[bench.image.len()..] == foreign[bench.image.len()..]
    );
}

/// The part and the bus are real to the program; it is killed in the middle, and the same command goes on.
#[test]
fn killed_on_a_linux_device_the_line_goes_on_where_it_stopped() {
    for part in ["24lc16b", "24lc32a"] {
        let bench = Bench::new(part);
        let program = tools::workspace_programs().join("pagewise");
        let chip = format!("{part}={}", bench.path("chip.bin").display());
        let script = format!("echo $$ > pid; exec {} program TI-1.bin --part {part} --bus {DEVICE}", program.display());
        let mut bridge = Command::new(&program)
            .args(["bridge", "--store-each-write", "--supply", "5", "--device", DEVICE, "--chip", &chip])
            .args(["--", "sh", "-c", &script])
            .current_dir(bench.folder.path())
            .spawn()
            .unwrap();
        let begun = Instant::now();
        let has_begun = || fs::read_to_string(bench.path("line.jsonl")).is_ok_and(|text| text.ends_with('\n'));
        while !has_begun() && begun.elapsed() < Duration::from_secs(60) {
            std::thread::sleep(Duration::from_millis(2));
        }
        std::thread::sleep(Duration::from_millis(60));
        let pid = fs::read_to_string(bench.path("pid")).unwrap();
        let killed = Command::new("kill").args(["-KILL", pid.trim()]).status().unwrap();
        let status = bridge.wait().unwrap();
        assert!(killed.success() && status.code() == Some(137), "{part}: it ended before it was killed: {status}");
        let partly = bench.memory();
        assert!(
            partly != bench.wanted() && partly.iter().any(|byte| *byte != 0xFF),
            "{part}: killed too early or late"
        );
        let journal = fs::read_to_string(bench.path("line.jsonl")).unwrap();
        assert!(!journal.contains("\"event\":\"good\""), "{part}: {journal}");

        let good = bench.run(part, &["--virtual-time"], &["program", "TI-1.bin"]);
        assert_eq!(good.status.code(), Some(0), "{part}: {}", said(&good));
        assert!(said(&good).contains("the part of a run that did not end"), "{part}: {}", said(&good));
        assert!(bench.memory() == bench.wanted(), "{part}");
    }
}

#[test]
fn a_device_that_is_not_there_is_bad_input() {
    let bench = Bench::new("24lc32a");
    let output = Command::new(tools::workspace_programs().join("pagewise"))
        .args(["program", "TI-1.bin", "--part", "24lc32a", "--bus", "/dev/i2c-no-such-bus"])
        .current_dir(bench.folder.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("/dev/i2c-no-such-bus: cannot be opened"), "{}", said(&output));
    assert!(!bench.path("line.jsonl").exists() && !bench.path("backups").exists());
}

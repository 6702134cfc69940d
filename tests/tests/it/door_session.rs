//! The Linux door keeps its bus outside of the programs: seen by a C program that forks, becomes another, is killed, and
//! does to the device what programs do to files.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use pagewise_tests::linux_bench::Bench;
use pagewise_tests::tools;
use serde_json::Value;

const CLIENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/door_session/client.c");

/// The C program, compiled once.
fn client() -> Option<&'static Path> {
    static FOUND: OnceLock<Option<(tempfile::TempDir, PathBuf)>> = OnceLock::new();
    let built = FOUND.get_or_init(|| {
        let cc = tools::need("cc", "gcc")?;
        let folder = tempfile::tempdir().unwrap();
        let program = folder.path().join("client");
        compile(&cc, Path::new(CLIENT), &program, &[]);
        Some((folder, program))
    });
    built.as_ref().map(|(_, program)| program.as_path())
}

fn compile(cc: &Path, source: &Path, program: &Path, options: &[&str]) -> bool {
    let mut command = Command::new(cc);
    command
        .args(["-std=gnu11", "-Wall", "-Wextra", "-O1", "-pthread"])
        .args(options)
        .arg(source)
        .arg("-o")
        .arg(program);
    let built = command.output().unwrap();
    assert!(built.status.success() || !options.is_empty(), "{}", String::from_utf8_lossy(&built.stderr));
    built.status.success()
}

/// A program on a bus in virtual time; its exit code and the report.
fn run(bench: &Bench, options: &[&str], program: &[&str]) -> (i32, Value) {
    let output = bridge(bench, &[&["--virtual-time", "--json"], options].concat(), program);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let report = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
    (output.status.code().unwrap(), report)
}

fn bridge(bench: &Bench, options: &[&str], program: &[&str]) -> Output {
    let path = format!("{}:/usr/sbin", std::env::var("PATH").unwrap());
    Command::new(tools::workspace_programs().join("pagewise"))
        .args(["bridge", "--chip", &bench.chip(), "--device", "/dev/i2c-7"])
        .args(options)
        .arg("--")
        .args(program)
        .env("PATH", path)
        .output()
        .unwrap()
}

fn hazards(report: &Value) -> Vec<&str> {
    report["hazards"].as_array().unwrap().iter().map(|seen| seen["hazard"].as_str().unwrap()).collect()
}

/// Runs one part of the client, which checks by itself what it sees.
fn sees(what: &str) -> Option<(Bench, Value)> {
    let bench = Bench::new("24lc32a");
    let client = client()?;
    let (code, report) = run(&bench, &[], &[client.to_str().unwrap(), what]);
    assert_eq!(code, 0, "{what}: {report}");
    Some((bench, report))
}

#[test]
fn the_device_is_a_file_as_the_kernel_has_it() {
    let Some((bench, report)) = sees("files") else { return };
    assert_eq!(hazards(&report), [""; 0]);
    assert_eq!(bench.memory()[0x40..0x43], [0xA1, 0xA2, 0xFF]);
}

#[test]
fn bad_pointers_are_efault_and_nothing_goes_over_the_bus() {
    let Some((_, report)) = sees("bad-pointers") else { return };
    assert_eq!(report["transfers"], 1, "the one good read");
}

#[test]
fn parent_and_child_share_file_bus_and_write_cycle() {
    let Some(client) = client() else { return };
    let bench = Bench::new("24lc32a");
    let (_, report) = run(&bench, &[], &[client.to_str().unwrap(), "family"]);
    assert_eq!(report["program_exit"], 0, "{report}");
    assert_eq!(bench.memory()[..5], [0x11, 0x22, 0xFF, 0x44, 0xFF]);
    // The child repeated its write; the parent gave its own up.
    assert_eq!(hazards(&report), ["busy-access"]);
}

#[test]
fn whatever_ends_a_program_hazard_and_memory_stay() {
    for (what, code) in [("becomes", 0), ("quick", 0), ("killed", 137), ("terminated", 143)] {
        let Some(client) = client() else { return };
        let bench = Bench::new("24lc32a");
        let (exit, report) = run(&bench, &[], &[client.to_str().unwrap(), what]);
        assert_eq!((&report["program_exit"], exit), (&code.into(), if code == 0 { 1 } else { code }), "{what}");
        assert_eq!(hazards(&report), ["page-wrap"], "{what}");
        assert_eq!(report["hazards"][0]["on_the_bus"], "S 50W+ 00+ 1F+ 01+ 02+ 03+ P", "{what}");
        let memory = bench.memory();
        assert_eq!((&memory[..2], memory[31], memory[32]), (&[2, 3][..], 1, 0xFF), "{what}");
    }
}

#[test]
fn threads_that_retry_until_it_is_done_are_no_hazard() {
    let Some((bench, report)) = sees("threads") else { return };
    assert_eq!(report["hazard_counts"], serde_json::json!({}));
    assert_eq!([0, 32, 64, 96].map(|at| bench.memory()[at]), [19; 4]);
}

#[test]
fn a_program_sees_one_virtual_clock_however_it_looks_and_waits() {
    let Some((_, report)) = sees("clocks") else { return };
    assert_eq!(hazards(&report), [""; 0]);
}

#[test]
fn a_write_cycle_outlives_its_program() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    let bench = Bench::new("24lc32a");
    let program = program.to_str().unwrap();
    let three = format!(
        "{program} -y 7 w3@0x50 0 0 1; {program} -y 7 w3@0x50 0 1 2; {program} -y 7 w2@0x50 0 0 r1 > /dev/null"
    );
    let (code, report) = run(&bench, &["--fault", "long-cycle=0:3000"], &["sh", "-c", &three]);
    assert_eq!(code, 1, "{report}");
    // The second write and the read come to a part that is busy for three seconds.
    assert_eq!(hazards(&report), ["busy-access", "busy-access"], "{report}");
    assert_eq!(bench.memory()[..2], [1, 0xFF]);
    // With the time that the part takes between them, all three go well; the time is a program's too.
    let waits = three.replace(';', "; sleep 0.01;");
    let bench = Bench::new("24lc32a");
    let (code, report) = run(&bench, &[], &["sh", "-c", &waits]);
    assert_eq!((code, hazards(&report)), (0, vec![]), "{report}");
    assert_eq!(bench.memory()[..2], [1, 2]);
}

#[test]
fn a_link_leads_to_the_device() {
    let Some(client) = client() else { return };
    let bench = Bench::new("24lc32a");
    let link = bench.folder.path().join("bus");
    std::os::unix::fs::symlink("/dev/i2c-7", &link).unwrap();
    let (code, report) = run(&bench, &[], &[client.to_str().unwrap(), "link", link.to_str().unwrap()]);
    assert_eq!((code, &report["transfers"]), (0, &1.into()), "{report}");
}

#[test]
fn what_is_not_carried_is_told() {
    let Some(client) = client() else { return };
    let client = client.to_str().unwrap();
    for (what, word) in [("stream", "streams of the C library are not carried"), ("past", "not carried")] {
        let (_, report) = run(&Bench::new("24lc32a"), &[], &[client, what]);
        assert!(report["told"][0].as_str().unwrap().contains(word), "{what}: {report}");
    }
    let cc = tools::need("cc", "gcc").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let program = folder.path().join("static");
    if !compile(&cc, Path::new(CLIENT), &program, &["-static"]) {
        tools::missing("the C library for static programs is missing (Debian package libc6-dev)");
        return;
    }
    let program = program.to_str().unwrap();
    for command in [&[program, "link"][..], &["sh", "-c", &format!("exec {program} link")]] {
        let (code, report) = run(&Bench::new("24lc32a"), &[], command);
        assert_eq!((code, &report["device_opened"]), (99, &false.into()), "{report}");
        assert!(report["told"][0].as_str().unwrap().contains("is statically linked"), "{report}");
    }
}

#[test]
fn faults_and_a_cut_come_from_the_command_line() {
    let Some(client) = client() else { return };
    let client = client.to_str().unwrap();
    // The byte at 2 begins at about 40 ms; a write cycle of this part takes 3 to 5 ms.
    for (torn, byte) in [("old", 0xFF), ("new", 2), ("unstable", 0xFF)] {
        let bench = Bench::new("24lc32a");
        let (code, report) = run(&bench, &["--cut-ms", "42.5", "--torn", torn], &[client, "steps"]);
        assert_eq!((code, &report["supply_lost"]), (137, &true.into()), "{report}");
        assert_eq!(bench.memory()[..4], [0, 1, byte, 0xFF], "{torn}");
        assert_eq!(hazards(&report), ["torn-write"], "{torn}");
    }
    let bench = Bench::new("24lc32a");
    let (code, report) = run(&bench, &["--fault", "lost-write=1"], &[client, "steps"]);
    assert_eq!(code, 0, "{report}");
    assert_eq!(bench.memory()[..4], [0, 0xFF, 2, 3]);
    let refused = bridge(&bench, &["--fault", "worse=1"], &["true"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && said.contains("nack=BYTE"), "{said}");
}

#[test]
fn a_cut_in_real_time_kills_the_program_while_it_sleeps() {
    let Some(client) = client() else { return };
    let bench = Bench::new("24lc32a");
    let cut = bridge(&bench, &["--cut-ms", "150"], &[client.to_str().unwrap(), "steps"]);
    assert_eq!(cut.status.code(), Some(137), "{}", String::from_utf8_lossy(&cut.stderr));
    let stored = bench.memory().iter().filter(|byte| **byte != 0xFF).count();
    assert!((1..=8).contains(&stored), "{stored} bytes in 150 ms, one each 20 ms");
}

#[test]
fn the_report_tells_three_of_a_kind_and_how_many_more() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    let bench = Bench::new("24lc32a");
    let write = format!("{} -y 7 w5@0x50 0 31 1 2 3; sleep 0.01;", program.display());
    let output = bridge(&bench, &["--virtual-time"], &["sh", "-c", &write.repeat(5)]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!((said.matches("page-wrap at").count(), said.contains("page-wrap 2 more")), (3, true), "{said}");
    assert!(fs::read(bench.image()).unwrap()[0] == 2);
}

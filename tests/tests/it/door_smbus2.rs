//! The Linux door, seen by Python's `smbus2` (from PyPI), an unmodified client library.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use pagewise_part::card::Card;
use pagewise_tests::linux_bench::Bench;
use pagewise_tests::tools;

/// One-byte, block-select and two-byte word addresses.
const PARTS: [&str; 3] = ["24lc02b", "24lc16b", "24lc32a"];
const RELEASE: &str = "smbus2==0.6.1";
const CLIENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/door_smbus2/client.py");

/// Interpreter and the folder in which `smbus2` is installed.
fn smbus2() -> Option<&'static (PathBuf, PathBuf)> {
    static FOUND: OnceLock<Option<(PathBuf, PathBuf)>> = OnceLock::new();
    FOUND.get_or_init(install).as_ref()
}

fn install() -> Option<(PathBuf, PathBuf)> {
    let python = tools::need("python3", "python3")?;
    // The interpreter itself, not a script that starts it.
    let asked = Command::new(&python).args(["-c", "import sys; print(sys.executable)"]).output().ok()?;
    let python = PathBuf::from(String::from_utf8(asked.stdout).ok()?.trim());
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(RELEASE.replace("==", "-"));
    if !folder.join("smbus2").is_dir() {
        let fresh = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        let pip = Command::new(&python)
            .args(["-m", "pip", "install", "--quiet", "--no-deps", "--disable-pip-version-check", "--target"])
            .arg(fresh.path())
            .arg(RELEASE)
            .output();
        if !pip.as_ref().is_ok_and(|pip| pip.status.success()) {
            let said =
                pip.map_or_else(|error| error.to_string(), |pip| String::from_utf8_lossy(&pip.stderr).into_owned());
            tools::missing(&format!("{RELEASE} cannot be installed (Debian package python3-pip): {said}"));
            return None;
        }
        // Another run may have been faster; then its folder is as good.
        let _ = fs::rename(fresh.path(), &folder);
    }
    Some((python, folder))
}

trait Client {
    fn client(&self, options: &[&str], what: &str, more: &[&str]) -> Option<Output>;
}

impl Client for Bench {
    /// Runs one part of the client on the simulated bus.
    fn client(&self, options: &[&str], what: &str, more: &[&str]) -> Option<Output> {
        let (python, modules) = smbus2()?;
        let Card { word_address_bytes, page_bytes, capacity_bytes, .. } = &self.card;
        let numbers = [u32::from(word_address_bytes.value), page_bytes.value, capacity_bytes.value];
        let output = Command::new(tools::workspace_programs().join("pagewise"))
            .args(["bridge", "--chip", &self.chip(), "--device", "/dev/i2c-7"])
            .args(options)
            .arg("--")
            .arg(python)
            .args([CLIENT, what])
            .args(numbers.map(|number| number.to_string()))
            .arg(self.image())
            .args(more)
            .env("PYTHONPATH", modules)
            .output()
            .unwrap();
        Some(output)
    }
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn smbus2_writes_polls_and_reads_back() {
    for part in PARTS {
        for (options, time) in [(&["--virtual-time"][..], "virtual"), (&[], "real")] {
            let bench = Bench::new(part);
            let Some(run) = bench.client(options, "write-poll-read", &[time]) else { return };
            assert_eq!(run.status.code(), Some(0), "{part} {time}: {}", stderr(&run));
            let (page, capacity) = (bench.card.page_bytes.value as usize, bench.card.capacity_bytes.value as usize);
            let data: Vec<u8> = (0..2 * page).map(|n| (17 * n + 3) as u8).collect();
            assert_eq!(bench.memory()[capacity - 3 * page + 1..][..2 * page], data, "{part}");
        }
    }
}

#[test]
fn w7_a_busy_part_is_enxio_and_the_dropped_write_is_named() {
    for part in PARTS {
        let Some(run) = Bench::new(part).client(&["--virtual-time"], "busy", &[]) else { return };
        // The client took no harm, but it gave up a write that was refused: busy-access.
        assert_eq!(run.status.code(), Some(1), "{part}: {}", stderr(&run));
        assert!(stderr(&run).contains("busy-access"), "{part}: {}", stderr(&run));
    }
}

#[test]
fn w6_write_cycles_take_real_time() {
    let bench = Bench::new("24lc32a");
    let Some(run) = bench.client(&["--scl-khz", "400"], "real-time", &[]) else { return };
    assert_eq!(run.status.code(), Some(0), "{}", stderr(&run));
    let took_us: u32 = String::from_utf8_lossy(&run.stdout).trim().parse().unwrap();
    // A cycle is never shorter than the typical one; how much longer the host took is its own affair.
    assert!(took_us >= bench.card.write_cycle_typ_us.value, "{took_us} us");
}

#[test]
fn smbus_calls_reach_a_part_with_one_byte_addresses() {
    let bench = Bench::new("24lc02b");
    let Some(run) = bench.client(&["--virtual-time"], "smbus-calls", &[]) else { return };
    assert!(!stderr(&run).contains("Error"), "{}", stderr(&run));
    let memory = bench.memory();
    assert_eq!((memory[0x10], &memory[0x12..0x14], &memory[0x20..0x24]), (0xA5, &[0x34, 0x12][..], &[3, 7, 8, 9][..]));
}

#[test]
fn plain_read_and_write_go_to_the_chosen_address() {
    for part in PARTS {
        let Some(run) = Bench::new(part).client(&["--virtual-time"], "plain-files", &[]) else { return };
        assert_eq!(run.status.code(), Some(0), "{part}: {}", stderr(&run));
    }
}

#[test]
fn memory_goes_into_the_image_on_demand_and_at_the_end() {
    for options in [&["--virtual-time"][..], &[]] {
        let bench = Bench::new("24lc32a");
        let Some(run) = bench.client(options, "on-demand", &[]) else { return };
        assert_eq!(run.status.code(), Some(0), "{options:?}: {}", stderr(&run));
        assert_eq!(bench.memory()[0], 0x33);
        assert_eq!(fs::read_dir(bench.folder.path()).unwrap().count(), 1, "no temporary file is left");
    }
}

#[test]
fn a_program_that_is_killed_loses_nothing_if_each_write_is_stored() {
    for (options, kept) in [(&["--virtual-time"][..], 0xFF), (&["--virtual-time", "--store-each-write"], 0x55)] {
        let bench = Bench::new("24lc32a");
        let Some(run) = bench.client(options, "killed", &[]) else { return };
        assert_eq!(run.status.code(), Some(128 + 9), "{options:?}: {}", stderr(&run));
        assert_eq!(bench.memory()[0], kept, "{options:?}");
    }
}

#[test]
fn a_program_that_becomes_another_loses_nothing() {
    let bench = Bench::new("24lc32a");
    let Some(run) = bench.client(&["--virtual-time"], "replaced", &[]) else { return };
    assert_eq!(run.status.code(), Some(9), "{}", stderr(&run));
    assert_eq!(bench.memory()[0], 0x66);
}

#[test]
fn threads_share_the_bus_transfer_by_transfer() {
    let bench = Bench::new("24lc32a");
    let Some(run) = bench.client(&["--virtual-time"], "threads", &[]) else { return };
    assert!(!stderr(&run).contains("Error"), "{}", stderr(&run));
    let memory = bench.memory();
    for number in 0..6 {
        assert_eq!(memory[number * 32..][..5], [&[(number * 31 + 19) as u8; 4][..], &[0xFF]].concat(), "{number}");
    }
}

#[test]
fn an_image_belongs_to_one_process_at_a_time() {
    let bench = Bench::new("24lc32a");
    let pagewise = tools::workspace_programs().join("pagewise");
    let chip = bench.chip();
    let other = [pagewise.to_str().unwrap(), "bridge", "--chip", &chip, "--", "true"];
    let Some(run) = bench.client(&["--virtual-time"], "other-process", &other) else { return };
    assert_eq!(run.status.code(), Some(0), "{}", stderr(&run));
    assert!(stderr(&run).contains("a forked process cannot share the bus of its parent"), "{}", stderr(&run));
    assert_eq!(bench.memory()[0], 0x44);
}

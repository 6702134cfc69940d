//! The Linux door, seen by Python's `smbus2` (from PyPI), an unmodified client library.

use std::fs;
use std::process::{Command, Output};

use pagewise_part::card::Card;
use pagewise_tests::linux_bench::Bench;
use pagewise_tests::{smbus2, tools};

/// One-byte, block-select and two-byte word addresses.
const PARTS: [&str; 3] = ["24lc02b", "24lc16b", "24lc32a"];
const CLIENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/door_smbus2/client.py");

trait Client {
    fn client(&self, options: &[&str], what: &str, more: &[&str]) -> Option<Output>;
}

impl Client for Bench {
    /// Runs one part of the client on the simulated bus.
    fn client(&self, options: &[&str], what: &str, more: &[&str]) -> Option<Output> {
        let (python, modules) = smbus2::installed()?;
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
fn a_program_that_is_killed_loses_nothing() {
    for options in [&["--virtual-time"][..], &["--virtual-time", "--store-each-write"], &[]] {
        let bench = Bench::new("24lc32a");
        let Some(run) = bench.client(options, "killed", &[]) else { return };
        assert_eq!(run.status.code(), Some(128 + 9), "{options:?}: {}", stderr(&run));
        assert_eq!(bench.memory()[0], 0x55, "{options:?}");
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
fn an_image_belongs_to_one_session_and_all_its_processes_share_the_bus() {
    let bench = Bench::new("24lc32a");
    let pagewise = tools::workspace_programs().join("pagewise");
    let chip = bench.chip();
    let other = [pagewise.to_str().unwrap(), "bridge", "--chip", &chip, "--", "true"];
    let Some(run) = bench.client(&["--virtual-time"], "other-process", &other) else { return };
    assert_eq!(run.status.code(), Some(0), "{}", stderr(&run));
    assert_eq!(bench.memory()[..2], [0x44, 0x45]);
}

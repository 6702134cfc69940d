//! `pagewise trial` with programs that take their chip from outside: test binaries of the C and of the Rust door, and
//! firmware under an emulator.

use std::path::Path;
use std::process::Command;

use embedded_hal::i2c::I2c;
use pagewise_simulator::door::Door;
use pagewise_simulator::{Rig, RigBus};
use pagewise_tests::{bare, tools};
use serde_json::Value;

use crate::bare_metal::build_folder;
use crate::trial::{Place, ROOT, example, losses, lost};

/// Compiles a program with the C door.
fn compile(place: &Place, program: &str, sources: &[&Path], more: &[&str]) -> Option<()> {
    let built = Command::new(tools::need("cc", "gcc")?)
        .args(["-std=gnu11", "-O1", "-I"])
        .arg(Path::new(ROOT).join("simulator/capi/include"))
        .args(more)
        .args(sources)
        .arg(tools::workspace_programs().join("libpagewise_capi.a"))
        .args(["-lpthread", "-ldl", "-lm", "-o"])
        .arg(place.path(program))
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    Some(())
}

#[test]
fn a_test_binary_of_the_c_door_takes_its_chip_from_the_environment() {
    let Some(place) = Place::with(&[]) else { return };
    let firmware = Path::new(ROOT).join("examples/c-firmware");
    for writer in ["eeprom_naive.c", "eeprom_correct.c"] {
        let sources = ["main.c", "rig_port.c", writer].map(|name| firmware.join(name));
        let Some(()) = compile(&place, "calibration", &sources.each_ref().map(|path| path.as_path()), &[]) else {
            return;
        };
        let (code, report) =
            place.json(&["--to", "24lc64", "--to", "24lc65", "--to", "24lc16b", "--seeds", "2", "--", "./calibration"]);
        // Both are made for pages of 32 bytes and two word-address bytes; the naive one writes across them.
        let lost: Vec<String> = lost(&report).into_iter().map(|(part, _, _)| part).collect();
        assert_eq!(code, 1, "{writer}: {report:#}");
        assert!(lost.contains(&"24LC16B".to_owned()), "{writer}: {lost:?}");
    }
}

/// What stands in the report of the cuts of the first part, and the exit code.
fn cuts(place: &Place, arguments: &[&str]) -> (i32, Value) {
    let (code, report) = place.json(&[&["--to", "24lc256", "--seeds", "1"], arguments].concat());
    (code, report["cuts"][0].clone())
}

#[test]
fn a_settings_store_of_the_c_door_is_broken_by_a_cut_and_its_repair_is_not() {
    let Some(place) = Place::with(&["settings"]) else { return };
    // As a Linux program, for comparison.
    let (_, outside) = cuts(&place, &["--cuts", "all", "--check", "./settings", "--", "./settings"]);
    for program in ["settings", "settings_safe"] {
        let source = example(&format!("{program}.c"));
        let Some(()) = compile(&place, program, &[&source], &["-DPAGEWISE_DOOR"]) else { return };
    }
    let (code, broken) = cuts(&place, &["--cuts", "all", "--check", "./settings", "--", "./settings"]);
    let first = &broken["first"];
    assert_eq!(code, 1, "{broken:#}");
    assert_eq!(first["text"], outside["first"]["text"], "{broken:#}");
    assert!(first["text"].as_str().unwrap().contains("the settings are lost"), "{first}");
    assert!(first["on_the_bus"].as_str().unwrap().starts_with("S 50W+ 00+ 00+ 01+ 25+"), "{first}");
    assert_eq!(first["on_the_bus"], outside["first"]["on_the_bus"], "{broken:#} {outside:#}");
    assert!(broken["states"].as_u64() > Some(10) && outside["lost"].as_u64() > Some(0), "{broken:#} {outside:#}");

    // The line that is printed repeats it; a cut before the write cycle loses nothing.
    let (at, torn) = (first["at_ns"].as_u64().unwrap(), first["torn"].as_str().unwrap());
    let line = first["repeat"].as_str().unwrap();
    assert!(line.contains(&format!("--cut-at-ns {at} --torn {torn} --check ./settings -- ./settings")), "{line}");
    let alone = |at: u64| {
        let at = at.to_string();
        cuts(&place, &["--cut-at-ns", &at, "--torn", torn, "--check", "./settings", "--", "./settings"])
    };
    assert_eq!((alone(at).0, alone(at - 2_000_000).0), (1, 0));

    let (code, repaired) = cuts(&place, &["--cuts", "all", "--check", "./settings_safe", "--", "./settings_safe"]);
    assert_eq!((code, &repaired["lost"]), (0, &0.into()), "{repaired:#}");
    assert!(repaired["states"].as_u64() > Some(10), "{repaired:#}");
}

/// A record of one byte and its complement; `None` for a broken one, 0 for an erased one.
fn record(bus: &mut RigBus, offset: u8) -> Option<u8> {
    let mut bytes = [0; 2];
    bus.write_read(0x50, &[0, offset], &mut bytes).unwrap();
    if bytes == [0xFF; 2] { Some(0) } else { Some(bytes[0]).filter(|byte| !byte == bytes[1]) }
}

fn write(rig: &Rig, offset: u8, number: u8) {
    rig.bus().write(0x50, &[0, offset, number, !number]).unwrap();
    rig.advance_ns(10_000_000);
}

/// Run by the test below as a test binary: a counter in one record.
#[test]
#[ignore = "is run on other chips by a_rust_test_binary_is_cut_test_by_test"]
fn counter_in_place() {
    let Some(door) = Door::from_environment().unwrap() else { return };
    for _ in 0..2 {
        let now = record(&mut door.rig.bus(), 0).expect("the counter is lost");
        write(&door.rig, 0, now + 1);
    }
}

/// The same in two records in turn.
#[test]
#[ignore = "is run on other chips by a_rust_test_binary_is_cut_test_by_test"]
fn counter_in_turn() {
    let Some(door) = Door::from_environment().unwrap() else { return };
    for _ in 0..2 {
        let records = [0, 64].map(|offset| record(&mut door.rig.bus(), offset));
        let newest = records.into_iter().flatten().max().expect("the counter is lost");
        write(&door.rig, if records[0] == Some(newest) { 64 } else { 0 }, newest + 1);
    }
}

#[test]
fn a_rust_test_binary_is_cut_test_by_test() {
    let Some(place) = Place::with(&[]) else { return };
    let this = std::env::current_exe().unwrap();
    let run = |tests: &str, more: &[&str]| {
        let command = ["--", this.to_str().unwrap(), "--ignored", "--test-threads", "2", tests];
        cuts(&place, &[&["--cuts", "all", "--check", "true"], more, &command].concat())
    };
    let (code, both) = run("trial_doors::counter_in_", &[]);
    let first = &both["first"];
    assert_eq!(code, 1, "{both:#}");
    assert!(first["text"].as_str().unwrap().starts_with("trial_doors::counter_in_place: started again: exit code 101"));
    assert!(first["repeat"].as_str().unwrap().contains("--cut-rig trial_doors::counter_in_place"), "{first}");
    let (code, turn) = run("trial_doors::counter_in_", &["--cut-rig", "trial_doors::counter_in_turn"]);
    assert_eq!((code, &turn["lost"]), (0, &0.into()), "{turn:#}");
    let (code, place_alone) = run("trial_doors::counter_in_place", &[]);
    assert_eq!((code, &place_alone["lost"]), (1, &both["lost"]), "the other test has no part in it");
    let moments = |cuts: &Value| cuts["moments"].as_u64().unwrap();
    assert_eq!(moments(&both), moments(&turn) + moments(&place_alone));
    assert!(moments(&turn) > 30, "{turn:#}");
}

/// Firmware for a Cortex-M3 runs on the fitted part and on every candidate, and says there what it stored.
#[test]
fn firmware_under_an_emulator_takes_its_chip_from_its_command_line() {
    let Some(built) = bare::build("tests/target", build_folder("bare-metal"), &[]) else { return };
    let Some(qemu) = tools::need("qemu-system-arm", "qemu-system-arm") else { return };
    let Some(place) = Place::with(&[]) else { return };
    let image = built.join("thumbv7m-none-eabi/release/writer");
    let qemu = qemu.to_str().unwrap();
    let machine = ["-cpu", "cortex-m3", "-machine", "mps2-an385", "-nographic"];
    let semihosting = ["-semihosting-config", "enable=on,target=native,arg={door}", "-kernel", image.to_str().unwrap()];
    let emulator = [&["--", qemu][..], &machine, &semihosting].concat();
    let parts = ["--to", "at24c256c", "--to", "24lc64", "--to", "24lc16b", "--to", "at24cm02", "--seeds", "1"];
    let (code, report) = place.json(&[&parts[..], &emulator].concat());
    // Pages of 64 bytes and more take what pages of 32 bytes wrap; one byte of word address is another family.
    let expected = losses(&[("24LC16B", "exit", "page-wrap"), ("24LC64", "exit", "page-wrap")]);
    assert_eq!((code, lost(&report)), (1, expected), "{report:#}");
    let wrong = report["runs"].as_array().unwrap().iter().find(|run| run["part"] == "24LC64").unwrap();
    assert!(wrong["losses"][0]["text"].as_str().unwrap().contains("the table is lost"), "{wrong:#}");
    // As the Linux program of examples/trial, which writes the same table: a page of 64 bytes wraps at 32.
    let text = wrong["losses"][1]["text"].as_str().unwrap();
    assert!(text.contains("first at 0x0100: E5 EC F3 FA 06 0D"), "{text}");

    // Firmware is started on a torn page, too: it writes the whole table anew, so that nothing is lost. The first page takes
    // 6 ms at 100 kHz, its write cycle 3 ms or more.
    let cut = ["--to", "24lc256", "--seeds", "1", "--cut-at-ns", "7500000", "--torn", "prefix"];
    let (code, cut) = place.json(&[&cut[..], &emulator].concat());
    let cut = &cut["cuts"][0];
    assert_eq!((code, &cut["states"], &cut["lost"]), (0, &1.into(), &0.into()), "{cut:#}");
}

//! The Linux door, seen by our driver over the crate `linux-embedded-hal`: the way it runs on a Linux board.

use std::fs;
use std::process::{Command, Output};

use pagewise_tests::tools;

/// Parts without block-select bits and with them next to R/W or on top, of one and of two word-address bytes.
const PARTS: [&str; 6] = ["24lc02b", "24lc04b", "24lc16b", "24lc32a", "24lc512", "24aa1025"];

fn run(part: &str, options: &[&str], more: &[&str]) -> (Output, Vec<u8>) {
    let folder = tempfile::tempdir().unwrap();
    let image = folder.path().join("chip.bin");
    let output = Command::new(tools::workspace_programs().join("pagewise"))
        .args(["bridge", "--virtual-time", "--chip", &format!("{part}={}", image.display())])
        .args(options)
        .arg("--")
        .arg(tools::example("linux_client"))
        .args([part, "/dev/i2c-1"])
        .args(more)
        .output()
        .unwrap();
    (output, fs::read(image).unwrap_or_default())
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn the_driver_works_on_linux_without_a_hazard() {
    for (seed, part) in PARTS.iter().enumerate() {
        let (output, memory) = run(part, &["--supply", "4.5"], &[&seed.to_string()]);
        assert_eq!(output.status.code(), Some(0), "{part}: {}", said(&output));
        assert!(said(&output).contains("no hazard seen"), "{part}: {}", said(&output));
        assert!(memory.iter().any(|byte| *byte != 0xFF), "{part}");
    }
}

#[test]
fn an_adapter_that_says_eremoteio_needs_the_option_for_it() {
    let (output, _) = run("24lc32a", &["--nack", "eremoteio"], &["1", "other-is-nack"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let (output, _) = run("24lc32a", &["--nack", "eremoteio"], &["1"]);
    assert_ne!(output.status.code(), Some(0), "{}", said(&output));
    assert!(said(&output).contains("succeeds"), "{}", said(&output));
}

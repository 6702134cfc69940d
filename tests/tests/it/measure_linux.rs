//! `pagewise measure` on a Linux device: what it reports is what the card has, and the part holds what it held.
#![cfg(target_os = "linux")]

use std::fs;
use std::process::Command;

use pagewise_part::card::Catalogue;
use pagewise_tests::tools;
use serde_json::Value;

const DEVICE: &str = "/dev/i2c-7";

#[test]
fn parts_are_measured_through_a_linux_device() {
    let catalogue = Catalogue::embedded().unwrap();
    // On virtual time the part waits for nobody, so that only the last one shows how long its write cycle lasts.
    for (part, time) in [("24lc16b", "virtual"), ("24lc32a", "virtual"), ("24lc02b", "real")] {
        let card = catalogue.find(part).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let chip = folder.path().join("chip.bin");
        let held: Vec<u8> = (0..card.capacity_bytes.value).map(|at| ((at * 7) ^ (at >> 8)) as u8).collect();
        fs::write(&chip, &held).unwrap();
        let program = tools::workspace_programs().join("pagewise");
        let output = Command::new(&program)
            .args(["bridge", "--supply", "5", "--device", DEVICE, "--scl-khz", "400"])
            .args((time == "virtual").then_some("--virtual-time"))
            .arg("--chip")
            .arg(format!("{part}={}", chip.display()))
            .arg("--")
            .arg(&program)
            .args(["measure", "--json", "--bus", DEVICE, "--part", part, "--supply", "5", "--scl-khz", "100"])
            .args(["--may-write", "--scratch", "0:256", "--saved", "copy", "--writes", "5"])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        let json = said
            .find('{')
            .and_then(|start| serde_json::Deserializer::from_str(&said[start..]).into_iter::<Value>().next()?.ok());
        let body = json.unwrap_or_else(|| panic!("{part}: {said}"));
        let measured = |name: &str| body["facts"][name]["measured"].clone();
        assert_eq!(measured("width"), card.word_address_bytes.value, "{part}: {said}");
        assert_eq!(measured("capacity"), card.capacity_bytes.value, "{part}: {said}");
        assert_eq!(measured("page")["exactly"], card.page_bytes.value, "{part}: {said}");
        if time == "real" {
            let cycle = measured("page_cycle");
            let us = |key: &str| cycle[key].as_u64().unwrap_or(0);
            let shortest = us("min_us") + us("resolution_us");
            assert!(shortest >= u64::from(card.write_cycle_typ_us.value), "{part}: {said}");
        }
        let differs = body["compared"].as_array().unwrap().iter().filter(|line| line["fit"] == "differs").count();
        assert_eq!((differs, &body["simulated"]), (0, &Value::from(false)), "{part}: {said}");
        assert!(fs::read(&chip).unwrap() == held, "{part}: the contents are not as before");
    }
}

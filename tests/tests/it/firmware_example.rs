//! The firmware of examples/firmware on an emulated Cortex-M3: its calibration survives supply cuts, and its
//! configuration is what `pagewise generate` writes. `PAGEWISE_BLESS=1` writes that file anew.

use std::path::Path;

use pagewise_emit::{Part, Request, rust};
use pagewise_part::card::Catalogue;
use pagewise_tests::bare;

#[test]
fn its_configuration_is_what_generate_writes() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc32a").unwrap();
    let generated = rust::configuration(&Request::new(vec![Part::new(card, [false; 3])])).unwrap();
    let text = generated.files[0].text.clone();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/firmware/src/part.rs");
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        std::fs::write(file, text).unwrap();
    } else {
        let found = std::fs::read_to_string(file).unwrap();
        // The digest of a card changes with every field that cards learn, the configuration does not.
        let without_digest = |text: &str| -> Vec<String> {
            text.lines().filter(|line| !line.contains("SHA-256")).map(str::to_owned).collect()
        };
        assert_eq!(
            without_digest(&found),
            without_digest(&text),
            "examples/firmware/src/part.rs is old; PAGEWISE_BLESS=1 writes it anew"
        );
    }
}

#[test]
fn it_starts_with_the_old_or_the_new_calibration_wherever_the_supply_is_lost() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware");
    let Some(folder) = bare::build("examples/firmware", folder, &[]) else { return };
    let Some(run) = bare::run(&folder.join("thumbv7m-none-eabi/release/flow-meter-firmware")) else { return };
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success(), "{said}{}", String::from_utf8_lossy(&run.stderr));
    println!("{said}");
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "start 1: None, so Calibration { pulses: 450000, zero_uv: 0 }");
    let found = |which: &str| lines.iter().filter(|line| line.ends_with(which)).count();
    let (old, new) = (found("found the old calibration"), found("found the new calibration"));
    // Before, inside and behind the write cycle, so that both are met.
    assert_eq!(old + new + 1, lines.len(), "{said}");
    assert!(old > 3 && new > 3 && lines.len() > 15, "{said}");
}

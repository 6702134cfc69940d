//! Which part `pagewise program` and `verify` work on: the one named, or the one that the images were made for.

use std::fs;
use std::path::Path;

use crate::cli_support::line::{Line, flat, image, over};
use serde_json::json;
use sha2::{Digest, Sha256};

/// A folder of images TI-1, TI-2, ... with a manifest that says of each which part it was made for, if that.
fn made_for(parts: &[Option<&str>]) -> Line {
    let line = Line::new(300);
    fs::create_dir(line.path("units")).unwrap();
    fs::create_dir(line.path("chips")).unwrap();
    let mut manifest = String::new();
    for (number, part) in (1..).zip(parts) {
        let (unit, bytes) = (format!("TI-{number}"), image(number, 300));
        let file = format!("{unit}.bin");
        fs::write(line.path("units").join(&file), &bytes).unwrap();
        let sha256: String = Sha256::digest(&bytes).iter().map(|byte| format!("{byte:02x}")).collect();
        let mut entry = json!({ "unit": unit, "file": file, "sha256": sha256 });
        if let Some(part) = part {
            entry["part"] = (*part).into();
        }
        manifest += &(entry.to_string() + "\n");
    }
    fs::write(line.path("units/manifest.jsonl"), manifest).unwrap();
    line
}

#[test]
fn the_manifest_says_which_part_when_nobody_else_does() {
    let line = made_for(&[Some("24lc32a"), Some("24lc32a")]);
    let run = line.run(&["program", "--simulate", "units", "--memory", "chips", "--json"]);
    assert_eq!((run.code, &run.json()["part"]), (0, &"24lc32a".into()), "{}{}", run.out, run.err);
    let held = fs::read(line.path("chips/TI-2.bin")).unwrap();
    assert!(held == over(&image(2, 300), 4096));
    for unit in ["TI-1", "TI-2"] {
        let memory = format!("chips/{unit}.bin");
        let same = line.run(&["verify", "--simulate", "units", "--unit", unit, "--memory", &memory, "--json"]);
        assert_eq!((same.code, &same.json()["part"]), (0, &"24lc32a".into()), "{}{}", same.out, same.err);
    }
    // A manifest that is named itself says as much as its folder, and the order code as much as the identifier.
    let call = ["verify", "--simulate", "units/manifest.jsonl", "--unit", "TI-1", "--memory", "chips/TI-1.bin"];
    assert_eq!(line.run(&call).code, 0);
    assert_eq!(line.run(&[&call[..], &["--part", "24LC32A"]].concat()).code, 0);
}

#[test]
fn another_part_than_the_images_were_made_for_is_refused() {
    let line = made_for(&[Some("24lc32a"), Some("24lc32a")]);
    for call in [&["program", "--simulate", "units"][..], &["verify", "--simulate", "units", "--unit", "TI-2"]] {
        let refused = line.run(&[call, &["--part", "24lc64"]].concat());
        assert_eq!((refused.code, refused.out.as_str()), (2, ""), "{}", refused.err);
        assert_eq!(refused.err.lines().count(), 1, "one fault: {}", refused.err);
        for word in ["manifest.jsonl:", "`part`", "made for `24lc32a`", "`24lc64`", "leave --part out"] {
            assert!(refused.err.contains(word), "{word}: {}", refused.err);
        }
    }
    let refused = line.run(&["program", "--simulate", "units", "--part", "24lc64"]);
    assert!(refused.err.contains("manifest.jsonl:1: `part`: 2 images are made for"), "{}", refused.err);
    assert!(!line.path("line.jsonl").exists() && !line.path("backups").exists());
    // The file alone says nothing of a part.
    assert_eq!(line.run(&["program", "--simulate", "units/TI-1.bin", "--part", "24lc64"]).code, 0);
}

#[test]
fn where_nobody_names_a_part_that_is_the_fault() {
    let line = made_for(&[None, None]);
    let calls: [&[&str]; 5] = [
        &["program", "--simulate", "units"],
        &["program", "--simulate", "TI-1.bin"],
        &["verify", "--simulate", "units", "--unit", "TI-1"],
        &["verify", "--simulate", "TI-1.bin"],
        &["dump", "--simulate", "-o", "dump.bin"],
    ];
    for call in calls {
        let refused = line.run(call);
        assert_eq!((refused.code, refused.out.as_str()), (2, ""), "{call:?}: {}", refused.err);
        assert!(refused.err.starts_with("--part: ") && refused.err.contains("--part PART"), "{}", refused.err);
        assert_eq!(refused.err.lines().count(), 1, "{}", refused.err);
        let json = line.run(&[call, &["--json"]].concat()).json();
        assert_eq!(json["faults"][0]["file"], "--part");
        let named = line.run(&[call, &["--part", "24lc32a"]].concat());
        assert!(named.code < 2, "{call:?}: {}{}", named.out, named.err);
    }
}

#[test]
fn units_made_for_several_parts_are_programmed_part_by_part() {
    let line = made_for(&[Some("24lc32a"), Some("24lc64"), Some("24lc64"), None]);
    let refused = line.run(&["program", "--simulate", "units"]);
    assert_eq!((refused.code, refused.err.lines().count()), (2, 2), "{}", refused.err);
    let told = flat(&refused);
    assert!(told.contains("unit `TI-4` is made for no part, others for `24lc32a`"), "{told}");
    assert!(told.contains("manifest.jsonl:2: `part`: 2 images are made for `24lc64`, others for `24lc32a`"), "{told}");
    assert!(told.contains("--unit"), "{told}");
    let run = line.run(&["program", "--simulate", "units", "--unit", "TI-2", "--unit", "TI-3", "--json"]);
    assert_eq!((run.code, &run.json()["part"]), (0, &"24lc64".into()), "{}{}", run.out, run.err);
    // A unit of no part goes into the one that is named.
    assert_eq!(line.run(&["program", "--simulate", "units", "--unit", "TI-4", "--part", "24lc64"]).code, 0);
}

#[test]
fn a_part_without_a_card_is_told_with_its_line() {
    let line = made_for(&[Some("24lc32a"), Some("tt-9000")]);
    for more in [&[][..], &["--part", "24lc32a"]] {
        let refused = line.run(&[&["program", "--simulate", "units"], more].concat());
        assert_eq!((refused.code, refused.err.lines().count()), (2, 1), "{}", refused.err);
        assert!(refused.err.contains("manifest.jsonl:2: `part`:") && refused.err.contains("`tt-9000`"));
    }
    let unknown = line.run(&["program", "--simulate", "units", "--part", "none"]);
    assert!(unknown.code == 2 && unknown.err.contains("no card is called `none`"), "{}", unknown.err);
    // A part that is not text is no entry.
    let text = fs::read_to_string(line.path("units/manifest.jsonl")).unwrap();
    fs::write(line.path("units/manifest.jsonl"), text.replace("\"tt-9000\"", "7")).unwrap();
    let refused = line.run(&["program", "--simulate", "units"]);
    assert!(refused.code == 2 && refused.err.contains("manifest.jsonl:2: no entry"), "{}", refused.err);
}

#[test]
fn images_made_for_a_generic_card_go_into_any_part_of_its_size() {
    let line = made_for(&[Some("any-32k")]);
    for (part, code) in [("24lc32a", 0), ("24lc64", 2), ("24lc16b", 2)] {
        let run = line.run(&["program", "--simulate", "units", "--part", part]);
        assert_eq!(run.code, code, "{part}: {}{}", run.out, run.err);
    }
}

#[test]
fn what_the_image_command_writes_needs_no_part() {
    let line = Line::new(1);
    let layouts = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/layouts").canonicalize().unwrap();
    let (layout, units) = (layouts.join("field-gateway.toml"), layouts.join("field-gateway-units.csv"));
    let (layout, units) = (layout.to_str().unwrap(), units.to_str().unwrap());
    let built = line.run(&["image", layout, "--part", "at24c02d", "--units", units, "-o", "images"]);
    assert_eq!(built.code, 0, "{}{}", built.out, built.err);
    let run = line.run(&["program", "--simulate", "images", "--json"]);
    assert_eq!((run.code, &run.json()["part"]), (0, &"at24c02d".into()), "{}{}", run.out, run.err);
    assert_eq!(line.run(&["program", "--simulate", "images", "--again", "--part", "AT24C02D"]).code, 0);
    assert_eq!(line.run(&["program", "--simulate", "images", "--again", "--part", "24lc02b"]).code, 2);
}

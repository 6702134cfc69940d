//! `pagewise program`, `verify` and `dump` on the simulated bus, as a person at the line uses them.

use std::fs;
use std::path::Path;

use crate::cli_support::line::{Line, flat, image, over};
use serde_json::Value;

#[test]
fn a_unit_is_looked_at_backed_up_written_verified_and_recorded() {
    let line = Line::new(300);
    let run = line.program(&[]);
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    for word in ["look", "blank", "backup", "10 of 10 pages", "verify", "good", "line.jsonl"] {
        assert!(run.out.contains(word), "{word}: {}", run.out);
    }
    assert_eq!(run.err, "", "no bar without a terminal");
    assert!(line.chip() == over(&image(1, 300), 4096));
    assert_eq!(line.events(), ["begin", "good"]);
    let same = line.run(&["verify", "--simulate", "TI-1.bin", "--part", "24lc32a", "--memory", "chip.bin"]);
    assert_eq!((same.code, same.out.starts_with("simulated  same")), (0, true), "{}", same.out);
}

#[test]
fn a_good_unit_is_not_programmed_again_unless_asked() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    let again = line.program(&[]);
    assert_eq!(again.code, 1);
    assert!(flat(&again).contains("already good") && flat(&again).contains("--again"), "{}", again.out);
    assert_eq!(line.events(), ["begin", "good"], "nothing happened");
    // What the line itself left there may be replaced; what the board has changed since may not.
    fs::write(line.path("TI-1.bin"), image(2, 300)).unwrap();
    let again = line.program(&["--again", "--json"]);
    assert_eq!((again.code, &again.json()["units"][0]["held"]), (0, &"ours".into()), "{}", again.out);
    let mut chip = line.chip();
    chip[200] ^= 1;
    fs::write(line.path("chip.bin"), chip).unwrap();
    let refused = line.program(&["--again"]);
    assert!(refused.code == 1 && flat(&refused).contains("--overwrite"), "{}", refused.out);
}

#[test]
fn only_what_differs_is_written() {
    let line = Line::new(4096);
    let mut chip = image(1, 4096);
    for at in [5, 700, 701, 4095] {
        chip[at] ^= 0x40;
    }
    fs::write(line.path("chip.bin"), chip).unwrap();
    let run = line.program(&["--overwrite", "--json"]);
    let unit = &run.json()["units"][0];
    assert_eq!((run.code, &unit["pages_written"], &unit["pages_kept"]), (0, &3.into(), &125.into()), "{}", run.out);
}

#[test]
fn the_part_of_another_unit_and_foreign_contents_are_refused_untouched() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    let held = line.chip();
    fs::write(line.path("TI-2.bin"), image(9, 300)).unwrap();
    let second = ["program", "--simulate", "TI-2.bin", "--part", "24lc32a", "--memory", "chip.bin"];
    let refused = line.run(&second);
    assert_eq!(refused.code, 1);
    assert!(flat(&refused).contains("the part of unit `TI-1`"), "{}", refused.out);
    let mut chip = held;
    chip[8..20].copy_from_slice(b"calibration ");
    fs::write(line.path("chip.bin"), &chip).unwrap();
    let refused = line.run(&second);
    assert!(refused.code == 1 && flat(&refused).contains("something else"), "{}", refused.out);
    assert!(line.chip() == chip, "nothing was written");
    let run = line.run(&[&second[..], &["--overwrite", "--json"]].concat());
    let unit = &run.json()["units"][0];
    assert_eq!((run.code, &unit["held"]), (0, &"foreign".into()));
    let backup = line.path(unit["backup"].as_str().unwrap());
    assert!(fs::read(backup).unwrap() == chip, "what is lost is in the backup");
}

#[test]
fn every_trouble_stops_the_line_with_a_message_and_the_same_command_goes_on() {
    // Trouble, step, what is said, hazard.
    let cases = [
        ("wp", "write", "holds what it held before", Some("write-protect")),
        ("fitted=24lc16b", "write", "read its marking", Some("address-width")),
        ("fitted=24lc04b", "write", "read its marking", Some("address-width")),
        ("unplugged=0", "look", "nobody answers at 0x50", None),
        ("unplugged=3", "write", "did not answer again", None),
        ("lost-write=2", "write", "holds what it held before", Some("write-protect")),
        ("endless-write=2", "write", "did not answer again", None),
        ("cut=2", "write", "no supply", None),
    ];
    for (trouble, step, message, hazard) in cases {
        let line = Line::new(300);
        // A wrong part has a memory of its own.
        let wrong = trouble.starts_with("fitted");
        let memory = if wrong { "wrong.bin" } else { "chip.bin" };
        let run = line.run(&[
            "program",
            "--simulate",
            "TI-1.bin",
            "--part",
            "24lc32a",
            "--memory",
            memory,
            "--trouble",
            trouble,
            "--json",
        ]);
        let json = run.json();
        let (unit, halt) = (&json["units"][0], &json["units"][0]["halt"]);
        assert_eq!(
            (run.code, &unit["result"], &halt["step"]),
            (1, &"failed".into(), &step.into()),
            "{trouble}: {halt}"
        );
        assert!(
            halt["reason"].as_str().unwrap().contains(message) || halt["remedy"].as_str().unwrap().contains(message),
            "{trouble}: {halt}"
        );
        assert_eq!(halt["hazard"], hazard.map_or(Value::Null, Value::from), "{trouble}: {halt}");
        assert!(!halt["remedy"].as_str().unwrap().is_empty());
        assert_eq!(line.events().last().unwrap(), "failed", "{trouble}");
        assert!(!line.events().contains(&"good".to_owned()), "{trouble}");
        let good = line.program(&[]);
        assert_eq!(good.code, 0, "{trouble}: {}", good.out);
        assert!(line.chip() == over(&image(1, 300), 4096), "{trouble}");
        let first = line.path("backups");
        for entry in fs::read_dir(first).unwrap() {
            assert!(fs::read(entry.unwrap().path()).unwrap() == [0xFF; 4096], "{trouble}: the first backup stays");
        }
    }
}

#[test]
fn a_stuck_cell_is_found_where_it_is() {
    let line = Line::new(300);
    let refused = line.program(&["--trouble", "stuck=0x20"]);
    assert!(
        refused.code == 1 && flat(&refused).contains("from 0x0020 on FE"),
        "it does not look blank: {}",
        refused.out
    );
    let run = line.program(&["--trouble", "stuck=0x20", "--overwrite"]);
    assert_eq!(run.code, 1);
    assert!(flat(&run).contains("0x0020 reads back as 0xE0 where 0xE1 is wanted"), "{}", run.out);
    assert!(flat(&run).contains("1 neither"), "{}", run.out);
    assert_eq!(line.events(), ["refused", "begin", "failed"]);
}

#[test]
fn troubles_that_the_line_can_live_with_end_well() {
    for trouble in ["busy", "other=0x51", "nack=30", "nack=5000", "nack=6000", "fitted=24lc64"] {
        let line = Line::new(300);
        let run = line.run(&["program", "--simulate", "TI-1.bin", "--part", "24lc32a", "--trouble", trouble]);
        assert_eq!(run.code, 0, "{trouble}: {}", run.out);
        assert!(trouble != "other=0x51" || run.out.contains("0x51 answers too"), "{}", run.out);
    }
}

#[test]
fn wherever_the_supply_is_cut_the_next_run_ends_well() {
    for cycle in 1..=10 {
        let line = Line::new(300);
        let cut = line.program(&["--trouble", &format!("cut={cycle}")]);
        assert_eq!(cut.code, 1, "{}", cut.out);
        assert!(!line.events().contains(&"good".to_owned()));
        // A second cut in the run that takes it up.
        let cut = line.program(&["--trouble", "cut=1", "--json"]);
        assert_eq!((cut.code, &cut.json()["units"][0]["resumed"]), (1, &true.into()), "cycle {cycle}: {}", cut.out);
        let good = line.program(&[]);
        assert_eq!(good.code, 0, "cycle {cycle}: {}", good.out);
        assert!(line.chip() == over(&image(1, 300), 4096), "cycle {cycle}");
    }
}

#[test]
fn a_folder_or_a_manifest_is_programmed_unit_by_unit() {
    let line = Line::new(300);
    fs::create_dir(line.path("units")).unwrap();
    fs::create_dir(line.path("chips")).unwrap();
    for seed in 1..=5 {
        fs::write(line.path("units").join(format!("TI-{seed}.bin")), image(seed, 200)).unwrap();
    }
    let call = ["program", "--simulate", "units", "--part", "24lc32a", "--memory", "chips"];
    let one = line.run(&[&call[..], &["--unit", "TI-3"]].concat());
    assert_eq!(one.code, 0, "{}", one.out);
    let all = line.run(&call);
    assert_eq!(all.code, 0, "{}", all.out);
    assert!(flat(&all).contains("5 units: 5 good, 0 not good"), "{}", all.out);
    for seed in 1..=5 {
        let chip = fs::read(line.path("chips").join(format!("TI-{seed}.bin"))).unwrap();
        assert!(chip == over(&image(seed, 200), 4096), "TI-{seed}");
    }
    let journal = fs::read_to_string(line.path("line.jsonl")).unwrap();
    assert_eq!(journal.matches("\"event\":\"good\"").count(), 5);
    let verify = ["verify", "--simulate", "units", "--part", "24lc32a", "--memory", "chips/TI-2.bin", "--unit"];
    assert_eq!(line.run(&[&verify[..], &["TI-2"]].concat()).code, 0);
    assert_eq!(line.run(&[&verify[..], &["TI-4"]].concat()).code, 1);
}

#[test]
fn the_images_of_a_layout_go_into_the_parts_they_were_made_for() {
    let line = Line::new(1);
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let layouts = root.join("examples/layouts").canonicalize().unwrap();
    let (layout, units) = (layouts.join("press-counter.toml"), layouts.join("press-counter-units.csv"));
    let build =
        ["image", layout.to_str().unwrap(), "--part", "24lc64", "--units", units.to_str().unwrap(), "-o", "units"];
    let built = line.run(&build);
    assert_eq!(built.code, 0, "{}{}", built.out, built.err);
    let manifest = fs::read_to_string(line.path("units/manifest.jsonl")).unwrap();
    let entries: Vec<Value> = manifest.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let part = entries[0]["part"].as_str().unwrap();
    fs::create_dir(line.path("chips")).unwrap();
    let run = line.run(&["program", "--simulate", "units", "--part", part, "--memory", "chips", "--json"]);
    assert_eq!((run.code, run.json()["good"].as_u64().unwrap() as usize), (0, entries.len()), "{}", run.out);
    for (entry, unit) in entries.iter().zip(run.json()["units"].as_array().unwrap()) {
        assert_eq!((&entry["unit"], &entry["sha256"]), (&unit["unit"], &unit["sha256"]));
        let memory = format!("chips/{}.bin", entry["unit"].as_str().unwrap());
        let name = entry["unit"].as_str().unwrap();
        let same = line.run(&["verify", "--simulate", "units", "--unit", name, "--part", part, "--memory", &memory]);
        assert_eq!(same.code, 0, "{}", same.out);
    }
    // The folder of images is as the image command left it.
    assert_eq!(line.run(&[&build[..], &["--overwrite"]].concat()).code, 0);
}

#[test]
fn bad_input_is_refused_before_anything_is_sent_or_written() {
    let line = Line::new(300);
    fs::write(line.path("large.bin"), vec![1; 5000]).unwrap();
    fs::write(line.path("empty.bin"), "").unwrap();
    fs::write(line.path("broken.hex"), ":00\n").unwrap();
    fs::write(line.path("short.bin"), [1, 2, 3]).unwrap();
    fs::write(line.path("broken.jsonl"), "{}\n{}\n").unwrap();
    let cases: [(&[&str], &str); 16] = [
        (&["large.bin"], "the image ends at 0x1388"),
        (&["empty.bin"], "the image is empty"),
        (&["none.bin"], "cannot be read"),
        (&["broken.hex"], "broken.hex:1"),
        (&["TI-1.bin", "--bus", "i2c-1"], "there is no bus"),
        (&["TI-1.bin", "--bus", "/dev/none", "--memory", "x"], "means a simulated part only"),
        (&["TI-1.bin", "--bus", "/dev/none"], "cannot be opened"),
        (&["TI-1.bin", "--trouble", "magic"], "no trouble of the simulated bus"),
        (&["TI-1.bin", "--trouble", "fitted=nothing"], "no card is called"),
        (&["TI-1.bin", "--trouble", "stuck=0x9000"], "unknown place"),
        (&["TI-1.bin", "--memory", "short.bin"], "has 3 bytes, the chip has 4096"),
        (&["TI-1.bin", "--journal", "none/x.jsonl"], "folder does not exist"),
        (&["TI-1.bin", "--unit", "a", "--unit", "b"], "one image is for one unit"),
        (&["TI-1.bin", "--unit", " "], "needs a name"),
        (&["TI-1.bin", "--lock-identification", "--confirm", "TI-1"], "no lockable identification page"),
        (&["TI-1.bin", "--straps", "a0=high"], "is not a level"),
    ];
    for (arguments, message) in cases {
        let place = if arguments.contains(&"--bus") { &[][..] } else { &["--simulate"] };
        let run = line.run(&[&["program", "--part", "24lc32a"], place, arguments].concat());
        assert_eq!(run.code, 2, "{arguments:?}: {}{}", run.out, run.err);
        assert!(run.err.contains(message) && run.out.is_empty(), "{arguments:?}: {}", run.err);
    }
    let run = line.run(&["program", "--simulate", "TI-1.bin", "--part", "24lc32a", "--journal", "broken.jsonl"]);
    assert!(run.code == 2 && run.err.contains("broken.jsonl:1"), "{}", run.err);
    for left in ["line.jsonl", "backups", "chip.bin"] {
        assert!(!line.path(left).exists(), "{left}");
    }
}

#[test]
fn one_journal_belongs_to_one_process_and_a_torn_line_is_told() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    let held = fs::File::open(line.path("line.jsonl")).unwrap();
    held.try_lock().unwrap();
    let refused = line.program(&["--again"]);
    assert!(refused.code == 2 && refused.err.contains("in use by another process"), "{}", refused.err);
    drop(held);
    let whole = fs::read(line.path("line.jsonl")).unwrap();
    fs::write(line.path("line.jsonl"), &whole[..whole.len() - 40]).unwrap();
    let run = line.program(&[]);
    assert_eq!(run.code, 0, "the torn `good` does not count: {}", run.out);
    assert!(flat(&run).contains("torn"), "{}", run.out);
    assert_eq!(line.events(), ["begin", "begin", "good"]);
}

//! `pagewise move`, and the way from an old part to a new one: dump, move, program, verify.

use std::fs;

use crate::cli_support::line::{Line, flat, image};

#[test]
fn from_the_old_parts_to_the_new_ones_unit_by_unit() {
    let line = Line::new(1);
    for folder in ["old", "dumps", "new"] {
        fs::create_dir(line.path(folder)).unwrap();
    }
    let units: Vec<String> = (1..=12).map(|n| format!("TI-{n}")).collect();
    for (seed, unit) in (1..).zip(&units) {
        fs::write(line.path("old").join(format!("{unit}.bin")), image(seed, 2048)).unwrap();
        let (memory, dump) = (format!("old/{unit}.bin"), format!("dumps/{unit}.hex"));
        let run = line.run(&["dump", "--simulate", "--part", "24lc16b", "--memory", &memory, "-o", &dump]);
        assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    }
    let call = ["move", "dumps", "--from", "24lc16b", "--to", "24lc32a", "--output", "images"];
    let run = line.run(&[&call[..], &["--json"]].concat());
    assert_eq!(run.code, 0, "{}", run.err);
    let json = run.json();
    assert_eq!((&json["change"]["open"], json["images"].as_array().unwrap().len()), (&2048.into(), 12));
    assert_eq!((&json["images"][0]["part"], &json["images"][0]["moved_from"]), (&"24lc32a".into(), &"24lc16b".into()));
    // Images that are there already are replaced when that is asked for.
    assert_eq!(line.run(&call).code, 2);
    assert_eq!(line.run(&[&call[..], &["--overwrite"]].concat()).code, 0);
    // The run on the new parts stops in the middle, and goes on.
    let program = ["program", "images", "--simulate", "--memory", "new", "--sockets", "2"];
    let stopped = line.run(&[&program[..], &["--trouble", "cut=20", "--stop-after", "1"]].concat());
    assert!(stopped.code == 1 && flat(&stopped).contains("not begun"), "{}", stopped.out);
    let good = line.run(&program);
    assert_eq!(good.code, 0, "{}", good.out);
    for (seed, unit) in (1..).zip(&units) {
        let held = fs::read(line.path("new").join(format!("{unit}.bin"))).unwrap();
        assert!(held[..2048] == image(seed, 2048) && held[2048..].iter().all(|byte| *byte == 0xFF), "{unit}");
        let memory = format!("new/{unit}.bin");
        let same = line.run(&["verify", "images", "--simulate", "--unit", unit, "--memory", &memory]);
        assert_eq!(same.code, 0, "{}", same.out);
    }
}

#[test]
fn what_does_not_fit_is_told_for_every_dump_and_nothing_is_written() {
    let line = Line::new(1);
    fs::create_dir(line.path("dumps")).unwrap();
    let blank_behind = |used: usize| [image(3, used), vec![0xFF; 8192 - used]].concat();
    for (name, used) in [("A", 4096), ("B", 4100), ("C", 8192)] {
        fs::write(line.path("dumps").join(format!("{name}.bin")), blank_behind(used)).unwrap();
    }
    let call = ["move", "dumps", "--from", "24lc64", "--to", "24lc32a", "-o", "images"];
    let refused = line.run(&call);
    assert_eq!((refused.code, refused.err.lines().count()), (2, 2), "{}", refused.err);
    assert!(refused.err.contains("B.bin: 4 bytes from 0x1000 on lie beyond 24lc32a"), "{}", refused.err);
    assert!(!line.path("images").exists());
    let one = line.run(&["move", "dumps/A.bin", "--from", "24lc64", "--to", "24lc32a", "-o", "images"]);
    assert!(one.code == 0 && one.out.contains("4096 blank bytes at the end are cut off"), "{}{}", one.out, one.err);
    let part = line.run(&["move", "dumps/A.bin", "--from", "24lc32a", "--to", "24lc64", "-o", "more"]);
    assert!(part.code == 2 && part.err.contains("has 8192 bytes, 24lc32a holds"), "{}", part.err);
}

#[test]
fn copies_keep_what_old_firmware_reads_beyond_the_end() {
    let line = Line::new(1);
    fs::write(line.path("U.bin"), image(5, 4096)).unwrap();
    let call = ["move", "U.bin", "--from", "24lc32a", "--to", "24lc128", "-o", "images", "--aliases", "--form", "bin"];
    let run = line.run(&call);
    assert!(run.code == 0 && run.out.contains("4 copies"), "{}{}", run.out, run.err);
    assert!(fs::read(line.path("images/U.bin")).unwrap() == image(5, 4096).repeat(4));
}

#[test]
fn a_binary_in_place_of_a_layout_is_told_with_the_commands_that_take_it() {
    let line = Line::new(1);
    fs::write(line.path("old.bin"), image(1, 256)).unwrap();
    fs::write(line.path("old.dat"), [0xFF, 0xFE, 0x00]).unwrap();
    for file in ["old.bin", "old.dat", "TI-1.bin"] {
        let refused = line.run(&["image", file, "--part", "24lc02b", "-o", "images"]);
        assert_eq!(refused.code, 2);
        for word in ["is not a layout but the contents of a part", "inspect", "move", "program"] {
            assert!(refused.err.contains(word), "{word}: {}", refused.err);
        }
    }
}

#[cfg(unix)]
#[test]
fn what_has_no_end_is_not_read() {
    let line = Line::new(300);
    std::os::unix::fs::symlink("/dev/zero", line.path("endless.bin")).unwrap();
    std::os::unix::fs::symlink("/dev/full", line.path("endless.jsonl")).unwrap();
    let refused = line.run(&["inspect", "endless.bin"]);
    assert!(refused.code == 2 && refused.err.contains("it is not a file"), "{}", refused.err);
    let refused = line.program(&["--journal", "endless.jsonl"]);
    assert!(refused.code == 2 && refused.err.contains("the journal is not a file"), "{}", refused.err);
}

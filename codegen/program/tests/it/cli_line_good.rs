//! What `pagewise program` calls good: this unit, this image, this part, this bus, and shown to be.

use std::fs;
use std::process::{Child, Stdio};

use crate::cli_support::line::{Line, flat, image, over};
use crate::cli_support::{command, finished};

/// Whether a command works on hardware or on a simulation is never left open.
#[test]
fn a_bus_or_a_simulation_has_to_be_asked_for_and_not_both() {
    let line = Line::new(300);
    let calls: [&[&str]; 3] = [&["program", "TI-1.bin"], &["verify", "TI-1.bin"], &["dump", "-o", "d.bin"]];
    for call in calls {
        let cases: [(&[&str], &str); 4] = [
            (&[], "--bus: which bus to work on was not said"),
            (&["--simulate", "--bus", "/dev/i2c-1"], "--bus: names hardware"),
            (&["--bus", "simulated"], "--bus: there is no bus `simulated`"),
            (&["--bus", "/dev/i2c-1", "--trouble", "wp"], "--trouble: means a simulated part only"),
        ];
        for (bus, message) in cases {
            let refused = line.run(&[call, bus, &["--part", "24lc32a"]].concat());
            assert_eq!((refused.code, refused.out.as_str()), (2, ""), "{call:?}: {}", refused.err);
            assert!(refused.err.starts_with(message) && refused.err.lines().count() == 1, "{}", refused.err);
        }
        // Every fault at once.
        let refused = line.run(&[call, &["--part", "none", "--memory", "x"]].concat());
        assert_eq!(refused.err.lines().count(), 3, "{}", refused.err);
    }
    for left in ["line.jsonl", "backups", "d.bin"] {
        assert!(!line.path(left).exists(), "{left}");
    }
}

#[test]
fn every_line_about_a_simulated_part_says_that_it_is_one() {
    let line = Line::new(300);
    fs::create_dir(line.path("units")).unwrap();
    for seed in 1..=4 {
        fs::write(line.path("units").join(format!("TI-{seed}.bin")), image(seed, 300)).unwrap();
    }
    let part = ["--simulate", "--part", "24lc32a"];
    let calls: [&[&str]; 8] = [
        &["program", "TI-1.bin", "--memory", "chip.bin"],
        &["program", "TI-1.bin", "--memory", "chip.bin"],
        &["program", "TI-1.bin", "--unit", "x", "--trouble", "wp"],
        &["program", "units"],
        &["verify", "TI-1.bin", "--memory", "chip.bin"],
        &["verify", "TI-1.bin"],
        &["verify", "TI-1.bin", "--trouble", "unplugged=0"],
        &["dump", "-o", "d.bin", "--memory", "chip.bin"],
    ];
    for call in calls {
        let run = line.run(&[call, &part].concat());
        assert!(run.code < 2 && !run.out.is_empty(), "{call:?}: {}{}", run.out, run.err);
        assert!(run.out.lines().all(|line| line.starts_with("simulated  ")), "{call:?}: {}", run.out);
        // Where there are many units, each has one line, however long.
        let fits = call[1] == "units" || run.out.lines().all(|line| line.chars().count() <= 80);
        assert!(fits, "{call:?}: {}", run.out);
        let json = line.run(&[call, &part, &["--json"]].concat()).json();
        assert_eq!(json["simulated"], true, "{call:?}");
        let units = json["units"].as_array();
        assert!(units.is_none_or(|units| units.iter().all(|unit| unit["simulated"] == true)), "{call:?}");
    }
    let journal = fs::read_to_string(line.path("line.jsonl")).unwrap();
    assert!(journal.lines().all(|record| record.contains("\"simulated\":true")), "{journal}");
}

#[test]
fn another_image_is_written_again() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    fs::write(line.path("TI-1.bin"), image(2, 300)).unwrap();
    let run = line.program(&["--json"]);
    let unit = &run.json()["units"][0];
    assert_eq!((run.code, &unit["result"], &unit["held"]), (0, &"good".into(), &"ours".into()), "{}", run.out);
    assert!(unit["note"].as_str().unwrap().contains("with another image"), "{unit}");
    assert!(line.chip() == over(&image(2, 300), 4096));
    // The first image again is another one again.
    fs::write(line.path("TI-1.bin"), image(1, 300)).unwrap();
    let run = line.program(&[]);
    assert!(run.code == 0 && flat(&run).contains("with another image"), "{}", run.out);
    assert!(line.chip() == over(&image(1, 300), 4096));
}

#[test]
fn the_record_of_another_part_does_not_count() {
    let line = Line::new(200);
    let call = ["program", "TI-1.bin", "--simulate", "--json", "--part"];
    assert_eq!(line.run(&[&call[..], &["at24c02d"]].concat()).code, 0);
    let run = line.run(&[&call[..], &["24lc64"]].concat());
    let unit = &run.json()["units"][0];
    assert_eq!((run.code, &unit["result"]), (0, &"good".into()), "{}", run.out);
    assert!(unit["note"].as_str().unwrap().contains("another part, at24c02d"), "{unit}");
    assert_eq!(line.events(), ["begin", "good", "begin", "good"]);
}

/// One image for all units, and nobody exchanged the part.
#[test]
fn a_part_that_is_still_in_the_socket_is_recognised_whatever_it_holds() {
    let line = Line::new(300);
    assert_eq!(line.program(&["--unit", "U1"]).code, 0);
    let second = line.program(&["--unit", "U2"]);
    assert_eq!(second.code, 1, "{}", second.out);
    assert!(flat(&second).contains("refused") && flat(&second).contains("the part of unit `U1`"), "{}", second.out);
    // Another image for the next unit changes nothing in that.
    fs::write(line.path("TI-2.bin"), image(9, 300)).unwrap();
    let third = line.run(&["program", "TI-2.bin", "--simulate", "--part", "24lc32a", "--memory", "chip.bin"]);
    assert!(third.code == 1 && flat(&third).contains("the part of unit `U1`"), "{}", third.out);
    assert!(!line.events()[2..].contains(&"good".to_owned()), "{:?}", line.events());
    // The unit itself is taken for what it is.
    assert_eq!(line.program(&["--unit", "U1", "--again"]).code, 0);
    // Both good, then the first one again with the part of the second.
    fs::rename(line.path("chip.bin"), line.path("first.bin")).unwrap();
    assert_eq!(line.program(&["--unit", "U2"]).code, 0);
    let first = line.program(&["--unit", "U1", "--again"]);
    assert!(first.code == 1 && flat(&first).contains("the part of unit `U2`"), "{}", first.out);
    assert_eq!(line.program(&["--unit", "U1", "--again", "--overwrite"]).code, 0);
}

/// A run that was killed behind its last write left a part that holds everything, and no unit that is good.
#[test]
fn the_part_of_a_run_that_did_not_end_is_not_the_next_unit() {
    let line = Line::new(300);
    assert_eq!(line.program(&["--unit", "U1"]).code, 0);
    let journal = fs::read_to_string(line.path("line.jsonl")).unwrap();
    let begin = journal.lines().next().unwrap();
    fs::write(line.path("line.jsonl"), format!("{begin}\n")).unwrap();
    let second = line.program(&["--unit", "U2"]);
    assert!(second.code == 1 && flat(&second).contains("whose run did not end"), "{}", second.out);
    assert_eq!(line.program(&["--unit", "U1"]).code, 0);
}

fn started(line: &Line, arguments: &[&str]) -> Child {
    let mut command = command(arguments);
    command.current_dir(line.folder.path()).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command.spawn().unwrap()
}

/// Pairs of first starts: on one memory file, and with one journal.
#[test]
fn of_two_first_starts_neither_loses_what_the_other_wrote() {
    for round in 0..12 {
        let line = Line::new(300);
        fs::write(line.path("TI-2.bin"), image(2, 300)).unwrap();
        let run = |image: &str, journal: &str, memory: &str| {
            let part = ["--simulate", "--part", "24lc32a", "--memory", memory, "--journal", journal];
            started(&line, &[&["program", image][..], &part].concat())
        };
        let one_memory = round % 2 == 0;
        let (journals, memories) =
            if one_memory { (["a.jsonl", "b.jsonl"], ["c.bin"; 2]) } else { (["a.jsonl"; 2], ["c.bin", "d.bin"]) };
        let pair = [run("TI-1.bin", journals[0], memories[0]), run("TI-2.bin", journals[1], memories[1])];
        let codes = pair.map(|child| finished(child.wait_with_output().unwrap()).code);
        assert!(codes.contains(&0), "{codes:?}: one of them gets through");
        for (index, (code, memory)) in codes.into_iter().zip(memories).enumerate() {
            let wanted = over(&image(index as u8 + 1, 300), 4096);
            let kept = fs::read(line.path(memory)).is_ok_and(|held| held == wanted);
            assert!(code != 0 || kept, "round {round}: TI-{} is called good, and its part does not hold it", index + 1);
        }
        if one_memory {
            assert_ne!(codes, [0, 0], "two units cannot both be in one part");
        } else {
            let journal = fs::read_to_string(line.path("a.jsonl")).unwrap();
            let good = journal.matches("\"event\":\"good\"").count();
            assert_eq!(good, codes.iter().filter(|code| **code == 0).count(), "{journal}");
        }
    }
}

#[test]
fn a_run_is_taken_up_from_any_folder() {
    let line = Line::new(300);
    assert_eq!(line.program(&["--trouble", "cut=3"]).code, 1);
    fs::create_dir(line.path("elsewhere")).unwrap();
    let mut call = command(&["program", "../TI-1.bin", "--simulate", "--part", "24lc32a", "--memory", "../chip.bin"]);
    call.args(["--journal", "../line.jsonl", "--backups", "../backups", "--json"]);
    let run = finished(call.current_dir(line.path("elsewhere")).output().unwrap());
    assert_eq!((run.code, &run.json()["units"][0]["resumed"]), (0, &true.into()), "{}{}", run.out, run.err);
    assert!(line.chip() == over(&image(1, 300), 4096));
}

/// Whoever makes another unit good with an editor is found out, and so is whoever takes a failure away.
#[test]
fn a_journal_that_was_changed_is_refused_and_stays() {
    let line = Line::new(300);
    assert_eq!(line.program(&[]).code, 0);
    let journal = fs::read_to_string(line.path("line.jsonl")).unwrap();
    let renamed = journal.replace("\"unit\":\"TI-1\"", "\"unit\":\"TI-2\"");
    let shorter = journal.split_once('\n').unwrap().1.to_owned();
    let unknown = journal.clone() + "{\"journal\":2,\"event\":\"polished\"}\n";
    for (changed, number) in [(renamed, 1), (shorter, 1), (unknown, 3)] {
        fs::write(line.path("line.jsonl"), &changed).unwrap();
        let refused = line.program(&["--unit", "TI-2"]);
        assert_eq!(refused.code, 2, "{}", refused.out);
        assert!(refused.err.starts_with(&format!("line.jsonl:{number}: ")), "{}", refused.err);
        assert_eq!(fs::read_to_string(line.path("line.jsonl")).unwrap(), changed);
    }
}

/// A bus of hardware is locked before anything is sent. Here a file stands for the device.
#[cfg(target_os = "linux")]
#[test]
fn a_bus_of_hardware_belongs_to_one_process() {
    let line = Line::new(300);
    fs::write(line.path("bus"), "").unwrap();
    let call = ["program", "TI-1.bin", "--part", "24lc32a", "--bus", "./bus", "--no-scan"];
    let held = fs::File::open(line.path("bus")).unwrap();
    held.try_lock().unwrap();
    let refused = line.run(&call);
    assert!(refused.code == 2 && refused.err.contains("the bus is in use by another process"), "{}", refused.err);
    assert!(!line.path("line.jsonl").exists());
    drop(held);
    // Free, it is only not an I2C bus.
    let refused = line.run(&call);
    assert!(refused.code == 2 && refused.err.contains("cannot be opened"), "{}", refused.err);
}

#[test]
fn a_journal_of_version_1_is_refused_and_read_as_an_earlier_one() {
    let line = Line::new(300);
    let old = r#"{"pagewise":"0.1.0","event":"begin","unit":"TI-1","at":"2026-11-01T08:00:00.000Z","part":"24lc32a","bus":"simulated","device_address":80,"image":"TI-1.bin","sha256":"SHA","backup":"backups/x.bin","backup_sha256":"00"}
{"pagewise":"0.1.0","event":"good","unit":"TI-1","at":"2026-11-01T08:00:01.000Z","part":"24lc32a","bus":"simulated","device_address":80,"image":"TI-1.bin","sha256":"SHA","pages_written":10}
"#;
    assert_eq!(line.run(&["program", "TI-1.bin", "--simulate", "--part", "24lc32a", "--journal", "x.jsonl"]).code, 0);
    let journal = fs::read_to_string(line.path("x.jsonl")).unwrap();
    let record: serde_json::Value = serde_json::from_str(journal.lines().next().unwrap()).unwrap();
    let old = old.replace("SHA", record["sha256"].as_str().unwrap());
    fs::write(line.path("line.jsonl"), &old).unwrap();
    let call = ["program", "TI-1.bin", "--simulate", "--part", "24lc32a"];
    let refused = line.run(&call);
    assert!(refused.code == 2 && refused.err.contains("--earlier line.jsonl"), "{}", refused.err);
    let run = line.run(&[&call[..], &["--journal", "new.jsonl", "--earlier", "line.jsonl"]].concat());
    assert!(run.code == 1 && flat(&run).contains("already good"), "{}{}", run.out, run.err);
    assert_eq!(fs::read_to_string(line.path("line.jsonl")).unwrap(), old);
    assert!(!line.path("new.jsonl").exists(), "nothing happened");
}

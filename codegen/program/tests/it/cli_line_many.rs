//! Many units: several sockets at once, names from a scanner, rules that end a run, and what the journal is told of the
//! parts; a disk that is full, and signals.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use crate::cli_support::line::{Line, flat, image, over};
use crate::cli_support::{Run, command, finished};

const PART: [&str; 3] = ["--simulate", "--part", "24lc32a"];

/// A line with a folder of images TI-1, TI-2, ...
fn units(count: u8) -> Line {
    let line = Line::new(300);
    for folder in ["units", "chips"] {
        fs::create_dir(line.path(folder)).unwrap();
    }
    for seed in 1..=count {
        fs::write(line.path("units").join(format!("TI-{seed}.bin")), image(seed, 300)).unwrap();
    }
    line
}

fn typing(line: &Line, arguments: &[&str], typed: &str) -> Run {
    let mut command = command(arguments);
    command.current_dir(line.folder.path());
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // It may have ended without reading.
    let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
    finished(child.wait_with_output().unwrap())
}

fn records(line: &Line) -> Vec<serde_json::Value> {
    let text = fs::read_to_string(line.path("line.jsonl")).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn several_sockets_work_at_once_and_the_journal_stays_whole() {
    let line = units(7);
    let call = [&["program", "units", "--memory", "chips", "--sockets", "3", "--json"][..], &PART].concat();
    let run = line.run(&call);
    assert_eq!((run.code, &run.json()["good"]), (0, &7.into()), "{}{}", run.out, run.err);
    let told: Vec<_> = run.json()["units"].as_array().unwrap().iter().map(|unit| unit["unit"].clone()).collect();
    assert_eq!(told, ["TI-1", "TI-2", "TI-3", "TI-4", "TI-5", "TI-6", "TI-7"]);
    for seed in 1..=7 {
        let chip = fs::read(line.path("chips").join(format!("TI-{seed}.bin"))).unwrap();
        assert!(chip == over(&image(seed, 300), 4096), "TI-{seed}");
    }
    // Read back by the next call, which checks every digest.
    let again = line.run(&call);
    let json = again.json();
    assert!(again.code == 0 && json["units"].as_array().unwrap().iter().all(|u| u["result"] == "already-good"));
    assert_eq!(records(&line).len(), 14);
    // Each socket is a bus of its own: a unit takes as long as alone.
    let alone = units(7).run(&[&call[..4], &["--sockets", "1", "--json"], &PART].concat()).json();
    let times = |json: &serde_json::Value| {
        let units = json["units"].as_array().unwrap().clone();
        units.iter().map(|unit| unit["simulated_us"].as_u64().unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(times(&run.json()), times(&alone));
    let refused = line.run(&["program", "units", "--part", "24lc32a", "--sockets", "2", "--bus", "/dev/i2c-1"]);
    assert!(refused.code == 2 && refused.err.contains("--simulate"), "{}", refused.err);
}

#[test]
fn a_scanner_names_the_units_of_a_folder_or_those_that_share_an_image() {
    let line = units(3);
    let folder = [&["program", "units", "--scanner", "--memory", "chips"][..], &PART].concat();
    let run = typing(&line, &folder, "TI-2\n\n TI-9 \nTI-1\nq\nTI-3\n");
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    assert!(run.err.contains("there is no unit `TI-9`: scan again"), "{}", run.err);
    assert!(flat(&run).contains("2 units: 2 good") && !line.path("chips/TI-3.bin").exists(), "{}", run.out);
    let shared = [&["program", "TI-1.bin", "--scanner"][..], &PART].concat();
    let run = typing(&line, &shared, "SN 100\nCON\nSN 101\n");
    assert!(run.code == 0 && run.err.contains("`CON` cannot name a file"), "{}{}", run.out, run.err);
    let named: Vec<_> = records(&line).iter().map(|record| record["unit"].as_str().unwrap().to_owned()).collect();
    assert_eq!(named[named.len() - 4..], ["SN 100", "SN 100", "SN 101", "SN 101"]);
    // Nobody scanned anything.
    assert_eq!(typing(&line, &shared, "").code, 0);
    assert_eq!(line.run(&[&shared[..], &["--unit", "a"]].concat()).code, 2);
    let refused = line.run(&[&shared[..], &["--memory", "chip.bin"]].concat());
    assert!(refused.code == 2 && refused.err.contains("--memory: is not a folder"), "{}", refused.err);
}

#[test]
fn the_line_stops_after_so_many_units_that_are_not_good() {
    let line = units(5);
    let call = [&["program", "units", "--trouble", "wp", "--stop-after", "2"][..], &PART].concat();
    let run = line.run(&call);
    assert_eq!(run.code, 1);
    assert!(flat(&run).contains("2 units are not good, and the line stops after 2"), "{}", run.out);
    assert!(flat(&run).contains("0 good, 2 not good, 3 not begun"), "{}", run.out);
    assert_eq!(line.events(), ["begin", "failed", "begin", "failed"]);
}

#[test]
fn nothing_follows_a_first_article_that_is_not_good_or_not_released() {
    let line = units(3);
    let call = [&["program", "units", "--first-article", "--memory", "chips"][..], &PART].concat();
    let bad = typing(&line, &[&call[..], &["--trouble", "wp"]].concat(), "TI-1\n");
    assert!(bad.code == 1 && flat(&bad).contains("the first article, TI-1, is not good"), "{}", bad.out);
    let kept = typing(&line, &call, "yes\n");
    assert!(kept.code == 1 && flat(&kept).contains("TI-1, was not released"), "{}", kept.out);
    assert!(!line.path("chips/TI-2.bin").exists());
    let released = typing(&line, &[&call[..], &["--sockets", "2"]].concat(), "TI-2\n");
    assert!(released.code == 0 && released.err.contains("The first article, TI-2, is good"), "{}", released.err);
    let records = records(&line);
    let last: Vec<_> = records[records.len() - 5..].iter().map(|r| (&r["event"], &r["unit"])).collect();
    assert_eq!(
        last.iter().map(|(event, _)| event.as_str().unwrap()).collect::<Vec<_>>(),
        ["begin", "good", "released", "begin", "good"]
    );
    assert_eq!((last[2].1, last[3].1), (&"TI-2".into(), &"TI-3".into()));
}

#[test]
fn the_journal_keeps_what_is_said_of_the_parts_and_of_the_place() {
    let line = Line::new(300);
    let known = ["--order-code", "24LC32A", "--lot", "A 17", "--date-code", "2541", "--station", "S2"];
    assert_eq!(line.program(&[&known[..], &["--operator", "M. Okafor"]].concat()).code, 0);
    for record in records(&line) {
        let said = serde_json::json!({
            "order_code": "24LC32A", "lot": "A 17", "date_code": "2541", "station": "S2", "operator": "M. Okafor"
        });
        assert_eq!(record["particulars"], said);
    }
    let cases: [(&[&str], &str); 3] = [
        (&["--order-code", "24LC64"], "--order-code: `24LC64` is the order code of 24lc64"),
        (&["--lot", " "], "1 to 120 characters"),
        (&["--operator", "a\nb"], "without control characters"),
    ];
    for (said, message) in cases {
        let refused = line.program(said);
        assert!(refused.code == 2 && refused.err.contains(message), "{}", refused.err);
    }
    assert_eq!(line.events(), ["begin", "good"]);
}

#[test]
fn a_name_that_some_system_cannot_hold_is_refused() {
    let line = Line::new(300);
    for name in ["CON", "nul", "COM1", "LPT1.x", "aux.bin", "ends."] {
        let refused = line.program(&["--unit", name]);
        assert!(refused.code == 2 && refused.err.contains("cannot name a file on every system"), "{}", refused.err);
    }
    assert!(!line.path("line.jsonl").exists());
}

/// No file may grow beyond so many blocks: memory, backup, `begin` or `good` cannot be written. Nothing is called good
/// then, and with room again the same command ends well.
#[cfg(unix)]
#[test]
fn a_full_disk_makes_no_unit_good() {
    let program = env!("CARGO_BIN_EXE_pagewise");
    let (mut failed, mut unrecorded) = (0, 0);
    for blocks in 0..6 {
        let line = Line::new(200);
        let script = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec {program} program TI-1.bin --simulate --part 24lc02b --memory chip.bin"
        );
        let full = std::process::Command::new("sh").args(["-c", &script]).current_dir(line.folder.path()).output();
        let full = finished(full.unwrap());
        // The last line may have been cut.
        let journal = fs::read_to_string(line.path("line.jsonl")).unwrap_or_default();
        let good = journal.lines().any(|line| line.contains("\"event\":\"good\"") && line.ends_with("\"}"));
        assert_eq!(full.code == 0, good, "{blocks} blocks: {}{}", full.out, full.err);
        failed += u32::from(full.code != 0);
        unrecorded += u32::from(flat(&full).contains("not counted as good"));
        let rest = line.run(&["program", "TI-1.bin", "--simulate", "--part", "24lc02b", "--memory", "chip.bin"]);
        let said = flat(&rest);
        assert!(rest.code == 0 || (good && said.contains("already good")), "{blocks} blocks: {said}");
        assert!(line.chip() == over(&image(1, 200), 256), "{blocks} blocks");
        assert_eq!(temporary(line.folder.path()), 0, "{blocks} blocks");
    }
    println!("{failed} of 6 failed, {unrecorded} of them behind the last write");
    assert!(failed >= 2 && unrecorded >= 1);
}

/// Temporary files in a folder and below it.
fn temporary(folder: &Path) -> usize {
    let entries = fs::read_dir(folder).unwrap().flatten();
    entries
        .map(|entry| {
            let below = if entry.path().is_dir() { temporary(&entry.path()) } else { 0 };
            below + usize::from(entry.file_name().to_string_lossy().starts_with(".pagewise"))
        })
        .sum()
}

/// Images of so many units that a signal comes in the middle.
#[cfg(unix)]
#[test]
fn a_signal_leaves_nothing_temporary_and_what_a_kill_left_is_swept() {
    let line = Line::new(1);
    fs::write(
        line.path("l.toml"),
        "name = \"L\"\n[[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 8\ncolumn = \"serial\"\n",
    )
    .unwrap();
    let rows: String = (0..3000).map(|n| format!("U{n},S{n:07}\n")).collect();
    fs::write(line.path("u.csv"), format!("unit,serial\n{rows}")).unwrap();
    let call = ["image", "l.toml", "--part", "24lc32a", "--units", "u.csv", "--output", "images"];
    let mut stopped = 0;
    for (signal, left) in [("-TERM", 0), ("-INT", 0), ("-KILL", 1)] {
        let mut child = command(&call);
        child.current_dir(line.folder.path()).stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = child.spawn().unwrap();
        let begun = std::time::Instant::now();
        while temporary(line.folder.path()) == 0 && begun.elapsed().as_secs() < 30 {
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
        std::process::Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap();
        let status = child.wait().unwrap();
        if status.code() != Some(0) {
            stopped += 1;
            assert_eq!(temporary(line.folder.path()), left, "{signal}");
            assert!(!line.path("images").exists());
        }
    }
    assert!(stopped > 0, "every run ended before its signal");
    std::thread::sleep(std::time::Duration::from_millis(1100));
    let run = line.run(&[&call[..], &["--overwrite"]].concat());
    assert_eq!((run.code, temporary(line.folder.path())), (0, 0), "{}", run.err);
}

/// `script` gives the program a terminal: a long step shows how much time is left there, and nothing elsewhere.
#[cfg(target_os = "linux")]
#[test]
fn many_images_show_the_time_left_on_a_terminal() {
    let line = Line::new(1);
    let layout = "name = \"L\"\n[[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 8\n";
    fs::write(line.path("l.toml"), layout).unwrap();
    let rows: String = (0..400).map(|n| format!("U{n},S{n:07}\n")).collect();
    fs::write(line.path("u.csv"), format!("unit,serial\n{rows}")).unwrap();
    let program = env!("CARGO_BIN_EXE_pagewise");
    let call = format!("{program} image l.toml --part 24lc32a --units u.csv -o shown");
    let mut script = std::process::Command::new("script");
    script.args(["-qec", &call, "/dev/null"]).env("TERM", "xterm").current_dir(line.folder.path());
    let shown = finished(script.stdin(Stdio::null()).output().expect("script (util-linux) is installed"));
    assert!(shown.code == 0 && shown.out.contains("of 400 images") && shown.out.contains("left"), "{}", shown.out);
    let piped = line.run(&["image", "l.toml", "--part", "24lc32a", "--units", "u.csv", "-o", "piped"]);
    assert!(piped.code == 0 && piped.err.is_empty(), "{}", piped.err);
}

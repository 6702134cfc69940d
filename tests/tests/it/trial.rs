//! `pagewise trial` with the programs of examples/trial, which know nothing of it; test binaries and firmware are in
//! `trial_doors.rs`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pagewise_player::program::Action;
use pagewise_player::{Bench, Program, Run};
use pagewise_tests::{smbus2, tools};
use serde_json::Value;

pub(crate) const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// A folder with the board, and programs of examples/trial compiled there.
pub(crate) struct Place(tempfile::TempDir);

impl Place {
    pub(crate) fn with(programs: &[&str]) -> Option<Self> {
        let cc = tools::need("cc", "gcc")?;
        let folder = tempfile::tempdir().unwrap();
        for name in ["meter.toml", "write_table.py"] {
            fs::copy(example(name), folder.path().join(name)).unwrap();
        }
        for program in programs {
            let built = Command::new(&cc)
                .args(["-std=gnu11", "-Wall", "-Wextra", "-Werror", "-O1", "-o"])
                .arg(folder.path().join(program))
                .arg(example(&format!("{program}.c")))
                .output()
                .unwrap();
            assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
        }
        Some(Self(folder))
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        let mut command = self.command();
        command.args(["trial", "--board", "meter.toml"]).args(arguments);
        command.output().unwrap()
    }

    fn command(&self) -> Command {
        let programs = tools::workspace_programs();
        let mut command = Command::new(programs.join("pagewise"));
        let path = format!("{}:{}", programs.display(), std::env::var("PATH").unwrap());
        command.current_dir(self.0.path()).env("PATH", path);
        if let Some((_, modules)) = smbus2::installed() {
            command.env("PYTHONPATH", modules);
        }
        command
    }

    /// The answer as JSON, with its exit code.
    pub(crate) fn json(&self, arguments: &[&str]) -> (i32, Value) {
        let output = self.run(&[&["--json"], arguments].concat());
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        let value = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
        (output.status.code().unwrap(), value)
    }
}

pub(crate) fn example(name: &str) -> PathBuf {
    Path::new(ROOT).join("examples/trial").join(name)
}

/// Parts on which something was lost, with the first loss of each: kind and hazard.
pub(crate) fn lost(report: &Value) -> Vec<(String, String, String)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let mut all = Vec::new();
    for run in report["runs"].as_array().unwrap() {
        if let Some(loss) = run["losses"].as_array().unwrap().first() {
            all.push((text(&run["part"]), text(&loss["kind"]), text(&loss["hazard"])));
        }
    }
    all.sort();
    all.dedup();
    all
}

pub(crate) fn losses(of: &[(&str, &str, &str)]) -> Vec<(String, String, String)> {
    of.iter().map(|(part, kind, hazard)| ((*part).to_owned(), (*kind).to_owned(), (*hazard).to_owned())).collect()
}

#[test]
fn a_python_writer_is_right_on_the_fitted_part_and_wrong_on_two_candidates() {
    let Some((python, _)) = smbus2::installed() else { return };
    let Some(place) = Place::with(&[]) else { return };
    let (code, report) = place.json(&["--", python.to_str().unwrap(), "write_table.py"]);
    let expected = losses(&[("24LC16B", "memory", "page-wrap"), ("24LC64", "memory", "page-wrap")]);
    assert_eq!((code, lost(&report)), (1, expected), "{report:#}");
    assert!(report["runs"][0]["hazards"].as_array().unwrap().is_empty(), "the fitted part: {report:#}");
    assert_eq!(report["runs"].as_array().unwrap().len(), 5 * 3, "parts and seeds");
}

#[test]
fn a_c_writer_is_wrong_where_pages_are_shorter_and_where_write_cycles_are_longer() {
    let Some(place) = Place::with(&["write_table"]) else { return };
    let all = ["--to", "at24c256c", "--to", "24lc64", "--to", "at24cm02", "--", "./write_table"];
    let (code, report) = place.json(&all);
    let expected = losses(&[("24LC64", "exit", "page-wrap"), ("AT24CM02", "exit", "busy-access")]);
    assert_eq!((code, lost(&report)), (1, expected), "{report:#}");
    let run = report["runs"].as_array().unwrap().iter().find(|run| run["part"] == "24LC64").unwrap();
    // The page of 64 bytes is not over in 5 ms either, as far as the sheet read says; but the bytes went astray before.
    let loss = &run["losses"][1];
    // A page of 64 bytes at 0x0100 wraps at 32: what was meant for 0x0120 stands at 0x0100.
    assert!(loss["text"].as_str().unwrap().contains("first at 0x0100: E5 EC F3 FA 06 0D"), "{loss}");
    assert!(loss["on_the_bus"].as_str().unwrap().starts_with("S 50W+ 01+ 00+ 05+ 0C+"), "{loss}");

    // The line that is printed repeats the run.
    let line = run["repeat"].as_str().unwrap();
    let path = format!("{}:{}", tools::workspace_programs().display(), std::env::var("PATH").unwrap());
    let again = Command::new("sh").args(["-c", line]).current_dir(place.0.path()).env("PATH", path).output().unwrap();
    assert_eq!(again.status.code(), Some(1), "{line}");
    assert!(String::from_utf8_lossy(&again.stdout).contains("E5 EC F3 FA 06 0D"), "{line}");
}

#[test]
fn a_settings_store_is_broken_by_a_cut_and_its_repair_is_not() {
    let Some(place) = Place::with(&["settings", "settings_safe"]) else { return };
    let with = |program: &str, more: &[&str]| {
        let check = format!("./{program}");
        let first = ["--to", "24lc256", "--seeds", "1", "--cuts", "64", "--check", &check];
        place.json(&[&first[..], more, &["--", &check]].concat())
    };
    let (code, broken) = with("settings", &[]);
    let cuts = &broken["cuts"][0];
    assert_eq!(code, 1, "{broken:#}");
    assert_eq!(cuts["looked_at"], cuts["moments"], "up to 500 moments are all looked at");
    let first = &cuts["first"];
    assert!(cuts["lost"].as_u64() > Some(0) && first["text"].as_str().unwrap().contains("the settings are lost"));
    // The first write of the program, seen from outside: nothing before it can be lost.
    assert!(first["on_the_bus"].as_str().unwrap().starts_with("S 50W+ 00+ 00+ 01+ 25+"), "{first}");
    let (code, repaired) = with("settings_safe", &[]);
    assert_eq!((code, &repaired["cuts"][0]["lost"]), (0, &0.into()), "{repaired:#}");
    assert!(repaired["cuts"][0]["states"].as_u64() > Some(10), "{repaired:#}");

    // The earliest cut alone, as its line has it; a cut a little earlier, before the write cycle began, loses nothing.
    let at = first["at_ns"].as_u64().unwrap();
    let alone = |at: u64| {
        let (at, torn) = (at.to_string(), first["torn"].as_str().unwrap());
        let options = ["--to", "24lc256", "--seed", "1", "--cut-at-ns", &at, "--torn", torn, "--check", "./settings"];
        place.json(&[&options[..], &["--classroom", "cut.html", "--", "./settings"]].concat()).0
    };
    let page = place.path("cut.html");
    assert_eq!((alone(at - 2_000_000), page.exists()), (0, false), "nothing is lost, and no page is written");
    // And on the page of the classroom: the write up to the cut, what it was meant to store, and what is there.
    assert_eq!(alone(at), 1);
    let (text, step, [new, _]) = opened(&page);
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines.iter().any(|line| line.contains("the settings are lost")), "{text}");
    assert!(lines.contains(&format!("torn {}", first["torn"].as_str().unwrap()).as_str()), "{text}");
    assert!(lines.iter().any(|line| line.starts_with("means 0000 01 25")), "{text}");
    // Behind the write stands the transfer that was under way, as far as it came.
    assert!(lines.iter().any(|line| line.contains("S 50W 00 00 01 25")), "{text}");
    assert!(lines.last().unwrap().ends_with(" cut"), "{text}");
    assert_eq!(
        lines.last().unwrap().split(' ').next(),
        Some(format!("{}.{:03}", at / 1000, at % 1000).as_str()),
        "{text}"
    );
    assert_eq!((new.log()[step].action, new.lost().is_empty()), (Action::Cut, false), "{text}");
}

/// With what a page of the classroom opens: program, step, and how it runs on the part and on the one beside it.
fn opened(page: &Path) -> (String, usize, [Run; 2]) {
    let page = fs::read_to_string(page).unwrap();
    let data = page.split_once("id=\"data\">").unwrap().1.split_once("</script>").unwrap().0;
    let data: Value = serde_json::from_str(data).unwrap();
    let opening = &data["opening"];
    let text = opening["program"].as_str().unwrap().to_owned();
    let (board, program) = Program::parse(&text).unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
    let runs = ["part", "beside"].map(|which| {
        let part = data["parts"].as_array().unwrap().iter().find(|part| part["id"] == opening[which]).unwrap();
        let model = serde_json::from_value(part["model"].clone()).unwrap();
        Run::new(&Bench { model, board: board.clone() }, &program)
    });
    (text, opening["step"].as_u64().unwrap() as usize, runs)
}

#[test]
fn the_first_loss_opens_on_the_page_of_the_classroom() {
    let Some(place) = Place::with(&["write_table"]) else { return };
    let page = place.path("page.html");
    let on = |part: &str| place.run(&["--to", part, "--seeds", "1", "--classroom", "page.html", "--", "./write_table"]);
    assert_eq!((on("at24c256c").status.code(), page.exists()), (Some(0), false), "nothing is lost");
    assert_eq!(on("24lc64").status.code(), Some(1));
    let (text, step, [new, old]) = opened(&page);
    assert_eq!((new.lost().first(), old.lost().len()), (Some(&0x0100), 0), "{text}");
    // What stands at 0x0100 is what the program has read back there: see the test of the writer.
    assert_eq!(new.memory_at(usize::MAX)[0x0100..0x0106], [0xE5, 0xEC, 0xF3, 0xFA, 0x06, 0x0D], "{text}");
    let failing = text.lines().last().unwrap();
    assert!(failing.contains("S 50W 01 00 05 0C"), "{text}");
    assert_eq!(new.log()[step].place.line, text.lines().count(), "{text}");
}

#[test]
fn known_losses_do_not_fail_and_new_ones_do() {
    let Some(place) = Place::with(&["write_table"]) else { return };
    let wrong = ["--to", "24lc64", "--seeds", "1"];
    let write = [&wrong[..], &["--write-baseline", "known.json", "--", "./write_table"]].concat();
    assert_eq!(place.run(&write).status.code(), Some(1));
    let (code, report) = place.json(&[&wrong[..], &["--baseline", "known.json", "--", "./write_table"]].concat());
    assert_eq!((code, &report["known_losses"], &report["new_losses"]), (0, &2.into(), &0.into()), "exit and memory");
    let more = ["--to", "at24cm02", "--baseline", "known.json", "--", "./write_table"];
    let (code, report) = place.json(&[&wrong[..], &more].concat());
    assert_eq!((code, &report["known_losses"], report["new_losses"].as_u64() > Some(0)), (1, &2.into(), true));
    // A loss that went away is named, so that the baseline can be cleaned.
    let gone = ["--to", "24lc64", "--seeds", "1", "--baseline", "known.json", "--", "python3", "-c"];
    let one = "import os; f = os.open('/dev/i2c-1', os.O_RDWR); os.close(f)";
    let (code, report) = place.json(&[&gone[..], &[one]].concat());
    assert_eq!((code, report["gone"].as_array().unwrap().len()), (0, 2), "{report:#}");
    fs::write(place.path("broken.json"), "{").unwrap();
    let refused = place.run(&["--baseline", "broken.json", "--", "./write_table"]);
    assert_eq!(refused.status.code(), Some(2));
}

#[test]
fn adapters_differ_in_what_they_say_and_can() {
    let Some(place) = Place::with(&["settings"]) else { return };
    let arguments =
        ["--to", "at24c256c", "--seeds", "1", "--adapter", "plain", "--adapter", "eio", "--adapter", "no-empty"];
    let (code, report) = place.json(&[&arguments[..], &["--", "./settings"]].concat());
    assert_eq!((code, report["runs"].as_array().unwrap().len()), (0, 6), "{report:#}");
    // A short adapter refuses the pages of the writer on every part alike: that is not held against a candidate.
    let Some(place) = Place::with(&["write_table"]) else { return };
    let (code, report) =
        place.json(&["--to", "at24c256c", "--seeds", "1", "--adapter", "short", "--", "./write_table"]);
    assert_eq!((code, &report["runs"][0]["exit"]), (0, &1.into()), "{report:#}");
}

#[test]
fn reports_say_what_the_answer_says() {
    let Some(place) = Place::with(&["write_table"]) else { return };
    let arguments = ["--to", "24lc64", "--seeds", "1", "--junit", "t.xml", "--html", "t.html", "--", "./write_table"];
    let output = place.run(&arguments);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let (junit, html) =
        (fs::read_to_string(place.path("t.xml")).unwrap(), fs::read_to_string(place.path("t.html")).unwrap());
    for said in [&text, &junit, &html] {
        assert!(said.contains("page-wrap") && said.contains("24LC64"), "{said}");
        assert!(said.contains("--to 24lc64 --seed 1"), "the line that repeats it: {said}");
    }
    assert_eq!((junit.matches("<testcase ").count(), junit.matches("<failure ").count()), (2, 1), "{junit}");
    assert!(!html.contains("http://") && !html.contains("<script"));
}

/// The 24LC1026 has a grade of 400 kHz up to 85 C, and one of 100 kHz above (DS20002270E, in tests/data/datasheets.toml).
#[test]
fn parts_are_tried_at_the_temperatures_of_the_board() {
    let Some(place) = Place::with(&["write_table"]) else { return };
    let text = fs::read_to_string(example("meter.toml")).unwrap().replace("scl_khz = 100", "scl_khz = 400");
    for (max_c, too_fast) in [(85, false), (125, true)] {
        let limits = format!("temperature_min_c = -20\ntemperature_max_c = {max_c}\n\n[bus]");
        let text = text.replacen("[bus]", &limits, 1).replace("supply_v = 5.0", "supply_v = 3.3");
        fs::write(place.path("meter.toml"), text).unwrap();
        let (_, report) = place.json(&["--to", "24lc1026", "--seeds", "1", "--", "./write_table"]);
        let run = report["runs"].as_array().unwrap().last().unwrap();
        let hazards = run["hazards"].as_array().unwrap();
        assert_eq!((&run["part"], hazards.contains(&"overclock".into())), (&"24LC1026".into(), too_fast), "{run:#}");
    }
}

#[test]
fn what_cannot_be_tried_is_one_message_each_and_exit_code_2() {
    let Some(place) = Place::with(&[]) else { return };
    fs::write(place.path("long.bin"), vec![0; 40_000]).unwrap();
    let cases: [(&[&str], &[&str]); 4] = [
        (
            &["--to", "no-such-part", "--image", "long.bin", "--", "./nothing"],
            &["no card is called", "has 40000 bytes", "no such program"],
        ),
        (&["--", "true"], &["used no bus"]),
        (&["--cuts", "some", "--", "true"], &["write how many"]),
        (&["--torn", "half", "--", "true"], &["prefix"]),
    ];
    for (arguments, messages) in cases {
        let refused = place.run(arguments);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}: {said}");
        for message in messages {
            assert!(said.contains(message), "{arguments:?}: {said}");
        }
    }
}

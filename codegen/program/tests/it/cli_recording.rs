//! `pagewise swap --recording`: a verdict from what the bus showed.

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Output};

use pagewise_player::program::Action;
use pagewise_player::{Bench, Program, Run};
use pagewise_simulator::{ChipModel, CycleTime, Rig, RigConfig, Straps};
use serde_json::Value;

/// A board without a word about its firmware.
const BOARD: &str = r#"
name = "bench meter"
fitted = "24LC256"
footprint = "soic-8"
years_of_life = 10
[bus]
supply_v = 5.0
scl_khz = 400
pull_up_ohm = 2200
capacitance_pf = 90
[straps]
a0 = "gnd"
a1 = "gnd"
a2 = "gnd"
wp = "gnd"
[[region]]
name = "table"
offset = 0x0100
length = 256
writes_per_day = 1
"#;

/// Records firmware that writes pages of so many bytes and waits for each in its own way, then reads back.
fn record(path: &Path, page: usize, wait: &dyn Fn(&Rig)) {
    use embedded_hal::i2c::I2c;
    let model: ChipModel = serde_json::from_value(model("24lc256")).unwrap();
    let rig = Rig::new(RigConfig { scl_hz: 400_000, supply_mv: 5000, seed: 1 });
    let chip = rig.attach(model, Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Typical);
    let mut bus = rig.bus();
    for at in (0..256).step_by(page) {
        let header = [(0x0100 + at) as u16].map(u16::to_be_bytes)[0];
        let data: Vec<u8> = header.into_iter().chain((0..page).map(|i| ((at + i) * 13 + 7) as u8)).collect();
        bus.write(0x50, &data).unwrap();
        wait(&rig);
    }
    for at in [0x0100_u16, 0x0155, 0x01C3] {
        let mut back = [0; 24];
        bus.write_read(0x50, &at.to_be_bytes(), &mut back).unwrap();
        rig.advance_ns(300_000);
    }
    rig.write_vcd(&mut std::io::BufWriter::new(File::create(path).unwrap())).unwrap();
}

/// Asks with the word address until the part answers.
fn poll(rig: &Rig) {
    use embedded_hal::i2c::I2c;
    while rig.bus().write(0x50, &[0x01, 0x00]).is_err() {
        rig.advance_ns(100_000);
    }
}

fn pagewise(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_pagewise")).args(arguments).current_dir(folder).output().unwrap()
}

fn model(part: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let said = pagewise(folder.path(), &["model", part]);
    serde_json::from_slice(&said.stdout).unwrap()
}

/// The verdict on a candidate, as JSON.
fn judged(board: &str, page: usize, wait: &dyn Fn(&Rig), candidate: &str) -> (Value, Value) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("board.toml"), board).unwrap();
    record(&folder.path().join("bus.vcd"), page, wait);
    let said = pagewise(folder.path(), &["swap", "board.toml", "--recording", "bus.vcd", "--to", candidate, "--json"]);
    let answer: Value = serde_json::from_slice(&said.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&said.stderr)));
    let judgement = answer["boards"][0]["judgements"][0].clone();
    (answer, judgement)
}

#[test]
fn a_board_without_a_word_about_its_firmware_is_judged_from_a_recording() {
    let (answer, same) = judged(BOARD, 64, &poll, "at24c256c");
    assert_eq!((&same["verdict"], &same["agree"]), (&"drop-in".into(), &true.into()), "{same:#}");
    assert_eq!(same["recorded"]["same"], true, "{same:#}");
    let granted = same["recorded"]["provided_that"].as_array().unwrap();
    assert_eq!(granted[0], "the recording shows all that the firmware does");
    assert!(granted[1].as_str().unwrap().starts_with("polling goes on for at least"), "{granted:?}");
    let observed = answer["recordings"][0]["recording"]["observed"].as_array().unwrap();
    let of = |field: &str| observed.iter().find(|it| it["field"] == field).map(|it| it["value"].clone());
    assert_eq!((of("page_bytes"), of("word_address_bytes")), (Some("64".into()), Some("2".into())), "{observed:?}");
}

#[test]
fn rules_and_the_recorded_program_find_the_same_fault() {
    // Pages of 32 bytes: the recorded program loses bytes, and the rules say why.
    let (_, short) = judged(BOARD, 64, &poll, "24lc64");
    assert_eq!((&short["verdict"], &short["agree"]), (&"reconfigure".into(), &true.into()), "{short:#}");
    assert_eq!(short["recorded"]["same"], false, "{short:#}");
    assert!(short["recorded"]["hazards"].as_array().unwrap().contains(&"page-wrap".into()), "{short:#}");
    // With pages of 16 bytes the same part serves, in both.
    let (_, fits) = judged(BOARD, 16, &poll, "24lc64");
    assert_eq!((&fits["recorded"]["same"], &fits["agree"]), (&true.into(), &true.into()), "{fits:#}");
    assert_ne!(fits["verdict"], "reject");
    // A fixed wait that a slower part does not keep.
    let fixed = |rig: &Rig| rig.advance_ns(6_000_000);
    let (_, slow) = judged(BOARD, 64, &fixed, "at24cm02");
    assert_eq!((&slow["recorded"]["same"], &slow["agree"]), (&false.into(), &true.into()), "{slow:#}");
    assert!(slow["recorded"]["differs"].as_str().unwrap().contains("is not answered"), "{slow:#}");
}

#[test]
fn what_was_observed_stands_in_place_of_what_was_stated_and_a_contradiction_is_told() {
    let stated = "[firmware]\ndevice_address = 0x50\nword_address_bytes = 2\npage_bytes = 128\nwait = \"poll\"\n";
    let board = format!("{BOARD}{stated}");
    let (answer, judgement) = judged(&board, 64, &poll, "at24c256c");
    assert_eq!(judgement["verdict"], "drop-in", "with the stated page it would not be: {judgement:#}");
    let told = answer["recordings"][0]["recording"]["contradicts"][0].as_str().unwrap();
    assert!(told.contains("page_bytes: the board file says 128, the recording shows 64"), "{told}");
}

/// A board file names its recordings, as seen from where it lies.
#[test]
fn a_board_file_names_its_own_recordings() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("boards")).unwrap();
    record(&folder.path().join("boards/bus.vcd"), 64, &poll);
    let stated = "[firmware]\ndevice_address = 0x50\nword_address_bytes = 2\npage_bytes = 128\nwait = \"poll\"\n";
    let judged = |recording: &str| {
        fs::write(folder.path().join("boards/meter.toml"), format!("{recording}{BOARD}{stated}")).unwrap();
        pagewise(folder.path(), &["swap", "boards", "--to", "at24c256c", "--json"])
    };
    let answer = |recording: &str| -> Value { serde_json::from_slice(&judged(recording).stdout).unwrap() };
    let verdict = |answer: &Value| answer["boards"][0]["judgements"][0]["verdict"].clone();
    assert_eq!(answer("").get("recordings").and_then(Value::as_array).map_or(0, Vec::len), 0);
    let seen = answer("recording = [\"bus.vcd\"]");
    assert_eq!(verdict(&seen), "drop-in", "{seen:#}");
    let told = seen["recordings"][0]["recording"]["contradicts"][0].as_str().unwrap();
    assert!(told.contains("page_bytes: the board file says 128, the recording shows 64"), "{told}");

    let refused = judged("\n\nrecording = [\"bus.vcd\", \"bus.sr\"]");
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(2), "{said}");
    assert!(said.contains("meter.toml:3: `recording`: there is no file bus.sr"), "{said}");
}

#[test]
fn recordings_are_of_one_board_and_what_they_do_not_show_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.toml"), BOARD).unwrap();
    fs::copy(folder.path().join("a.toml"), folder.path().join("b.toml")).unwrap();
    record(&folder.path().join("bus.vcd"), 64, &poll);
    let refused = pagewise(folder.path(), &["swap", "a.toml", "b.toml", "--recording", "bus.vcd"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && said.contains("recordings are of one board"), "{said}");
    // Nothing but a read: neither page nor wait shows.
    let model: ChipModel = serde_json::from_value(model("24lc256")).unwrap();
    let rig = Rig::new(RigConfig::default());
    rig.attach(model, Straps::GROUND);
    embedded_hal::i2c::I2c::write_read(&mut rig.bus(), 0x50, &[0, 0], &mut [0; 4]).unwrap();
    rig.write_vcd(&mut File::create(folder.path().join("read.vcd")).unwrap()).unwrap();
    let refused = pagewise(folder.path(), &["swap", "a.toml", "--recording", "read.vcd"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && said.contains("no recording shows it"), "{said}");
}

/// Channels that do not say which is which are named, as `observe` has them named.
#[test]
fn channels_of_any_name_are_the_bus_where_that_is_said() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("board.toml"), BOARD).unwrap();
    let path = folder.path().join("bus.vcd");
    record(&path, 64, &poll);
    let renamed = fs::read_to_string(&path).unwrap().replace("SCL", "D0").replace("SDA", "D1");
    fs::write(&path, renamed).unwrap();
    let swap = ["swap", "board.toml", "--recording", "bus.vcd", "--to", "at24c256c", "--json"];
    let refused = pagewise(folder.path(), &swap);
    assert_eq!(refused.status.code(), Some(2), "no channel is called SCL");
    let named = pagewise(folder.path(), &[&swap[..], &["--scl", "D0", "--sda", "D1"]].concat());
    let answer: Value = serde_json::from_slice(&named.stdout).unwrap();
    assert_eq!(answer["boards"][0]["judgements"][0]["verdict"], "drop-in", "{answer:#}");
    let swapped = pagewise(folder.path(), &[&swap[..], &["--scl", "D1", "--sda", "D0"]].concat());
    assert_eq!(swapped.status.code(), Some(2), "swapped channels carry no I2C");
}

/// What a page of the classroom opens with, played on the candidate and on the fitted part; the step at which it stands.
fn opened(page: &Path) -> ([Run; 2], usize) {
    let page = fs::read_to_string(page).unwrap();
    let data = page.split_once("id=\"data\">").unwrap().1.split_once("</script>").unwrap().0;
    let data: Value = serde_json::from_str(data).unwrap();
    let opening = &data["opening"];
    let (board, program) = Program::parse(opening["program"].as_str().unwrap()).unwrap();
    let run = |id: &Value| {
        let part = data["parts"].as_array().unwrap().iter().find(|part| part["id"] == *id).unwrap();
        let model = serde_json::from_value(part["model"].clone()).unwrap();
        Run::new(&Bench { model, board: board.clone() }, &program)
    };
    ([run(&opening["part"]), run(&opening["beside"])], opening["step"].as_u64().unwrap() as usize)
}

#[test]
fn the_recorded_transfer_that_fails_opens_on_the_page_of_the_classroom() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("page.html");
    fs::write(folder.path().join("board.toml"), BOARD).unwrap();
    let case = |recording: &str, candidate: &str| {
        let of = ["--board", "board.toml", "--recording", recording, "--to", candidate];
        let said = pagewise(folder.path(), &[&["classroom", "--output", "page.html"], &of[..]].concat());
        (said.status.code(), String::from_utf8_lossy(&said.stderr).into_owned())
    };
    record(&folder.path().join("bus.vcd"), 64, &poll);
    let (code, said) = case("bus.vcd", "at24c256c");
    assert!(code == Some(2) && said.contains("no recorded transfer"), "{said}");
    let (code, said) = case("none.vcd", "24lc64");
    assert!(code == Some(2) && said.contains("none.vcd"), "{said}");
    assert!(!page.exists(), "nothing is written");
    assert_eq!(case("bus.vcd", "24lc64").0, Some(0));
    let ([new, old], step) = opened(&page);
    // The first page write: 64 bytes to 0x0100, of which a page of 32 bytes keeps the latter half.
    // Where a byte is by chance what should be there nothing is lost.
    assert!(new.lost().len() > 55 && old.lost().is_empty(), "{:?} {:?}", new.lost(), old.lost());
    assert_eq!(new.lost()[0], 0x0100);
    let hazards =
        |run: &Run| run.log().iter().flat_map(|it| &it.incidents).map(|it| it.hazard.name()).collect::<Vec<_>>();
    assert_eq!((hazards(&new), hazards(&old)), (vec!["page-wrap"], vec![]));
    assert_eq!((new.log()[step].action, step), (Action::Start { again: false }, 0));
    // Firmware that waits 6 ms, and a part that needs longer: the second page write is not answered.
    record(&folder.path().join("bus.vcd"), 64, &|rig: &Rig| rig.advance_ns(6_000_000));
    assert_eq!(case("bus.vcd", "at24cm02").0, Some(0));
    let ([new, old], step) = opened(&page);
    assert!(hazards(&new).contains(&"busy-access") && hazards(&old).is_empty(), "{:?}", hazards(&new));
    assert_eq!((new.lost()[0], old.lost().len()), (0x0140, 0));
    assert!(matches!(new.log()[step].action, Action::Wait(_)) && step > 64, "{step}");
}

/// A table names the recordings of a family, in a column or in the family's file; those of a board stand before them.
#[test]
fn boards_of_a_table_share_the_recordings_of_their_family() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    record(&at("wide.vcd"), 64, &poll);
    record(&at("narrow.vcd"), 16, &poll);
    fs::write(at("gauge.toml"), "recording = \"wide.vcd\"\n[bus]\nsupply_v = 5.0\n").unwrap();
    let table = "name,fitted,family,recording\nA,24LC256,gauge.toml,\nB,24LC256,gauge.toml,narrow.vcd\nC,24LC256,,\n\
        D,24LC256,gauge.toml,\n";
    fs::write(at("boards.csv"), table).unwrap();
    let said = pagewise(folder.path(), &["swap", "boards.csv", "--to", "24lc64", "--json"]);
    let answer: Value = serde_json::from_slice(&said.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&said.stderr)));
    let boards = answer["boards"].as_array().unwrap();
    let of = |board: usize| (&boards[board]["board"]["firmware"]["page_bytes"], &boards[board]["judgements"][0]);
    // A and D as the family does, B as it does itself, C as nobody has seen.
    assert_eq!([0, 1, 2, 3].map(|board| of(board).0.as_u64()), [Some(64), Some(16), Some(64), Some(64)]);
    let same = |board: usize| of(board).1["recorded"]["same"].as_bool();
    assert_eq!([0, 1, 2, 3].map(same), [Some(false), Some(true), None, Some(false)], "{answer:#}");
    let shown = answer["recordings"].as_array().unwrap();
    let files: Vec<&str> = shown.iter().map(|one| one["file"].as_str().unwrap()).collect();
    assert_eq!(files, ["boards.csv:2", "boards.csv:3", "boards.csv:5"]);
    // For a person: which board was seen where.
    let said = pagewise(folder.path(), &["swap", "boards.csv", "--to", "24lc64"]);
    let text = String::from_utf8_lossy(&said.stdout).into_owned();
    assert!(text.contains("A: From ") && text.contains("B: From ") && !text.contains("C: From "), "{text}");

    // In board files of their own, too.
    assert!(pagewise(folder.path(), &["boards", "boards.csv", "-o", "files"]).status.success());
    let file = |name: &str| fs::read_to_string(at("files").join(name)).unwrap();
    let narrow = file("board-b.toml");
    assert!(narrow.contains("page_bytes = 16") && narrow.contains("# Firmware as recorded: narrow.vcd."), "{narrow}");
    assert!(!narrow.contains("\"firmware.page_bytes\"") && file("board-c.toml").contains("\"firmware.page_bytes\""));
}

#[test]
fn a_table_tells_every_recording_that_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let table = "name,fitted,recording\nA,24LC256,one.vcd; two.sr\nB,24LC256,\nC,24LC256,three.csv\n";
    fs::write(folder.path().join("boards.csv"), table).unwrap();
    let said = pagewise(folder.path(), &["swap", "boards.csv"]);
    let told = String::from_utf8_lossy(&said.stderr).into_owned();
    assert_eq!((said.status.code(), said.stdout.len()), (Some(2), 0), "{told}");
    for (line, file) in [(2, "one.vcd"), (2, "two.sr"), (4, "three.csv")] {
        assert!(told.contains(&format!("boards.csv:{line}: `recording`: there is no file \"{file}\"")), "{told}");
    }
    fs::write(folder.path().join("boards.csv"), "name,fitted,recording\nA,24LC256,boards.csv\nB,24LC256,boards.csv\n")
        .unwrap();
    let said = pagewise(folder.path(), &["swap", "boards.csv"]);
    let told = String::from_utf8_lossy(&said.stderr).into_owned();
    // The one file that is not a recording is told once, not for each board.
    assert_eq!((said.status.code(), told.matches("boards.csv").count()), (Some(2), 1), "{told}");
}

//! Files that are not what a command asks for: each is told as what it is, with what to do, and left as it was.

use std::fs;
use std::path::Path;

use crate::cli_support::line::{Line, image};

fn example(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name).display().to_string()
}

/// The one message of a refused command.
fn message(line: &Line, arguments: &[&str]) -> String {
    let run = line.run(arguments);
    assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}: {}", run.err);
    assert_eq!(run.err.lines().count(), 1, "{arguments:?}: {}", run.err);
    run.err
}

/// A call for each kind of text file, `FILE` in its place.
fn readers() -> Vec<Vec<String>> {
    let (board, layout) = (example("boards/gateway.toml"), example("layouts/field-gateway.toml"));
    let calls: [&[&str]; 10] = [
        &["budget", "FILE"],
        &["layout", "FILE", "--part", "24lc64"],
        &["image", "FILE", "--part", "24lc64", "-o", "new"],
        &["image", &layout, "--part", "at24c02d", "--units", "FILE", "-o", "new"],
        &["swap", &board, "--stock", "FILE"],
        &["swap", &board, "--stock", &example("stock.csv"), "--columns", "FILE"],
        &["merge", "FILE"],
        &["program", "--simulate", "FILE", "--part", "24lc64"],
        &["verify", "--simulate", "FILE", "--part", "24lc64"],
        &["marking", "--file", "FILE"],
    ];
    calls.iter().map(|call| call.iter().map(|word| (*word).to_owned()).collect()).collect()
}

fn with_file<'c>(call: &'c [String], file: &'c str) -> Vec<&'c str> {
    call.iter().map(|word| if word == "FILE" { file } else { word }).collect()
}

#[test]
fn a_file_that_is_missing_no_text_or_a_folder_is_told_as_that() {
    let line = Line::new(1);
    fs::write(line.path("latin.jsonl"), b"\xFF\xE9t\xE9").unwrap();
    fs::create_dir(line.path("folder.jsonl")).unwrap();
    for call in readers() {
        let missing = message(&line, &with_file(&call, "none.jsonl"));
        assert!(missing.starts_with("none.jsonl") && missing.contains("check the path"), "{missing}");
        let run = line.run(&with_file(&call, "latin.jsonl"));
        assert_eq!(run.code, 2, "{call:?}");
        assert!(run.err.contains("UTF-8 text") && run.err.contains("save"), "{}", run.err);
        // Program and verify take folders of images.
        let folder = message(&line, &with_file(&call, "folder.jsonl"));
        let of_images = call[0] == "program" || call[0] == "verify";
        let wanted = if of_images { "holds no image" } else { "it is a folder; name a file" };
        assert!(folder.starts_with("folder.jsonl") && folder.contains(wanted), "{folder}");
    }
    assert!(!line.path("new").exists() && !line.path("line.jsonl").exists());
}

#[test]
fn an_empty_stock_list_says_how_to_begin_one() {
    let line = Line::new(1);
    for text in ["", "\n \n"] {
        fs::write(line.path("stock.csv"), text).unwrap();
        let told = message(&line, &["swap", &example("boards/gateway.toml"), "--stock", "stock.csv"]);
        assert!(told.contains("stock.csv: holds no row") && told.contains("names the columns"), "{told}");
    }
}

#[test]
fn a_folder_in_a_folder_that_is_not_there_is_told_without_names_of_our_own() {
    let line = Line::new(1);
    let (layout, units) = (example("layouts/field-gateway.toml"), example("layouts/field-gateway-units.csv"));
    let calls: [&[&str]; 2] = [
        &["invent", "-o", "none/fleet"],
        &["image", &layout, "--part", "at24c02d", "--units", &units, "-o", "none/fleet"],
    ];
    for call in calls {
        let told = message(&line, call);
        assert!(told.starts_with("none/fleet: lies in a folder that does not exist"), "{told}");
        assert!(told.contains("create") && !told.contains(".pagewise-"), "{told}");
        assert!(!line.path("none").exists());
    }
}

#[test]
fn a_file_that_never_was_a_journal_is_not_taken_for_a_torn_one() {
    let line = Line::new(300);
    for contents in [&b"\xFF\xFE\x00bad"[..], b"notes of the line", b"notes\n", b"{}\n", b"{\"unit\":\"TI-1\""] {
        fs::write(line.path("notes"), contents).unwrap();
        let told = message(&line, &["program", "--simulate", "TI-1.bin", "--part", "24lc32a", "--journal", "notes"]);
        assert!(told.starts_with("notes:1: not a record of a line") && told.contains("--journal"), "{told}");
        assert_eq!(fs::read(line.path("notes")).unwrap(), contents, "it is left as it was");
    }
    // The beginning of a first record, however short, is one.
    assert_eq!(line.program(&[]).code, 0);
    let journal = fs::read(line.path("line.jsonl")).unwrap();
    for length in [1, 5, 13, 60] {
        fs::write(line.path("line.jsonl"), &journal[..length]).unwrap();
        let run = line.program(&["--overwrite"]);
        assert!(run.code == 0 && run.out.contains("torn"), "{length}: {}{}", run.out, run.err);
    }
}

#[test]
fn what_the_line_cannot_use_is_told_before_anybody_fits_a_part() {
    let line = Line::new(300);
    fs::create_dir(line.path("units")).unwrap();
    for number in 1..=2 {
        fs::write(line.path("units").join(format!("TI-{number}.bin")), image(number, 300)).unwrap();
    }
    fs::write(line.path("file"), "").unwrap();
    fs::write(line.path("image.odd"), image(1, 300)).unwrap();
    let cases: [(&[&str], &str); 6] = [
        (&["units", "--bus", "i2c-1"], "--bus: there is no bus `i2c-1`"),
        (&["units", "--bus", "/dev/no-such-bus"], "cannot be opened"),
        (&["units", "--backups", "file"], "file: is not a folder, and backups need one"),
        (&["units", "--unit", "TI-1", "--unit", "TI-1"], "--unit: names `TI-1` twice"),
        (&["image.odd"], "image.odd: its extension tells no form of an image"),
        (&["no-such.odd"], "no-such.odd: cannot be read"),
    ];
    for (arguments, wanted) in cases {
        let place = if arguments.contains(&"--bus") { &[][..] } else { &["--simulate"] };
        let told = message(&line, &[&["program", "--part", "24lc32a"], place, arguments].concat());
        assert!(told.contains(wanted) && told.contains("; "), "{told}");
        assert!(!told.contains("press Enter") && !told.contains("--form"), "{told}");
    }
    assert!(!line.path("line.jsonl").exists() && !line.path("backups").exists());
}

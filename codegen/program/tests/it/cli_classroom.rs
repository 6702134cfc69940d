//! `pagewise classroom`, `play`, `mark` and stepping lessons, as a user runs them.

use std::fs;

use crate::cli_support::{own_card, refused, run, write};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for a test")
}

fn path(folder: &tempfile::TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

#[test]
fn a_program_in_a_file_is_stepped_through_on_any_part() {
    let folder = folder();
    write(folder.path(), "wrap.txt", "means 0010 00..2F\nS 50W 00 10 00..2F P\nwait 5ms\n");
    let file = path(&folder, "wrap.txt");
    let small = run(&["play", &file, "--part", "at24c32e"]);
    assert_eq!(small.code, 1, "{}", small.err);
    for part in [
        "page-wrap: AT24C32E: ",
        "latch 16 of 32, next 0x0000",
        "write cycle, 5.00 ms left",
        "48 bytes lost, 0 read wrong",
    ] {
        assert!(small.out.contains(part), "{part}: {}", small.out);
    }
    let large = run(&["play", &file, "--part", "24lc256", "--short"]);
    assert_eq!((large.code, large.out.as_str()), (0, "24LC256\n0 bytes lost, 0 read wrong\n"), "{}", large.err);
    let both = run(&["play", &file, "--part", "at24c32e", "--beside", "24lc256", "--json"]);
    assert_eq!((both.code, &both.json()["difference"]), (1, &serde_json::json!(58)), "{}", both.out);
    assert!(small.out.lines().all(|line| line.chars().count() <= 80), "{}", small.out);
}

#[test]
fn faults_of_a_program_come_at_once_and_nothing_is_played() {
    let folder = folder();
    write(folder.path(), "bad.txt", "S 50W 00\nwiat 5ms\n");
    let bad = run(&["play", &path(&folder, "bad.txt"), "--part", "at24c32e"]);
    assert_eq!((bad.code, bad.out.as_str(), bad.err.lines().count()), (2, "", 2), "{}", bad.err);
    assert!(bad.err.contains("bad.txt:2: no line begins with `wiat`"), "{}", bad.err);
    refused(&["play", &path(&folder, "none.txt"), "--part", "at24c32e"], "cannot be read");
    write(folder.path(), "good.txt", "S 50W P\n");
    refused(&["play", &path(&folder, "good.txt"), "--part", "at24c32f"], "at24c32e");
}

#[test]
fn a_lesson_is_played_on_any_part() {
    let steps = run(&["hazards", "page-wrap", "--part", "24lc64", "--step"]);
    assert_eq!(steps.code, 1, "{}", steps.err);
    assert!(steps.out.contains("24LC64") && steps.out.contains("next 0x0000"), "{}", steps.out);
    let serves = run(&["hazards", "page-wrap", "--part", "24lc256"]);
    assert_eq!(serves.code, 0, "{}{}", serves.out, serves.err);
    refused(&["hazards", "page-warp", "--step"], "near: page-wrap");
    refused(&["hazards", "page-wrap", "busy-access", "--step"], "one lesson at a time");
}

#[test]
fn the_page_holds_ones_own_cards_and_opens_with_ones_own_case() {
    let (folder, cards) = (folder(), own_card(&crate::cli_support::card("\"</script><b>own\"")));
    let file = path(&folder, "class.html");
    let cards = cards.path().display().to_string();
    let made = run(&[
        "classroom",
        "--output",
        &file,
        "--cards",
        &cards,
        "--teacher",
        &path(&folder, "teacher.html"),
        "--json",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert_eq!(made.json()["lessons"].as_array().map(Vec::len), Some(pagewise_teach::lesson::EMBEDDED.len()));
    let page = fs::read_to_string(&file).unwrap();
    assert!(page.contains("\\u003c/script>\\u003cb>own") && !page.contains("</script><b>own"));
    assert!(fs::read_to_string(folder.path().join("teacher.html")).unwrap().contains("when marked only"));
    let board = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards/valve-driver.toml");
    let case = run(&["classroom", "--output", &file, "--board", board, "--to", "24lc64", "--json"]);
    assert_eq!(case.code, 0, "{}", case.err);
    let opens = case.json()["opens_with"].as_str().unwrap().to_owned();
    assert!(opens.contains("means 0000") && opens.contains("S 50W 00 00"), "{opens}");
    refused(&["classroom", "--output", &file, "--board", board, "--to", "at24c256c"], "no transfer fails");
    refused(&["classroom", "--output", &path(&folder, "none/class.html")], "none");
}

#[test]
fn marks_are_written_as_a_table() {
    let folder = folder();
    let handed = folder.path().join("handed in");
    fs::create_dir(&handed).unwrap();
    write(&handed, "ada.json", "{\"lesson\":\"page-wrap\",\"who\":\"Ada\",\"program\":\"S 50W 00 10 11 P\"}");
    let table = path(&folder, "marks.csv");
    let marked = run(&["mark", &handed.display().to_string(), "--output", &table]);
    assert_eq!(marked.code, 0, "{}", marked.err);
    assert!(marked.out.contains("Ada") && marked.out.contains("0 of 6"), "{}", marked.out);
    let table = fs::read_to_string(table).unwrap();
    assert!(table.lines().nth(1).unwrap().starts_with("ada.json,Ada,page-wrap,0,0,6,at24c32e,"), "{table}");
    refused(&["mark", &path(&folder, "none")], "cannot be read");
}

#[test]
fn faulty_lessons_and_texts_write_nothing() {
    let folder = folder();
    let file = path(&folder, "class.html");
    write(folder.path(), "own.toml", "name = \"own\"\n");
    let bad = run(&["classroom", "--output", &file, "--lessons", &folder.path().display().to_string()]);
    assert!(bad.code == 2 && bad.err.contains("own.toml:1: `belief`: is missing"), "{}", bad.err);
    write(folder.path(), "texts", "title = \"x\"\n");
    let bad = run(&["classroom", "--output", &file, "--texts", &path(&folder, "texts")]);
    assert!(bad.code == 2 && bad.err.contains("`answer`: is missing"), "{}", bad.err);
    assert!(!folder.path().join("class.html").exists());
}

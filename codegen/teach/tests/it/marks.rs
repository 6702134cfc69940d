//! What is handed in is replayed, not believed.

use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use data_encoding::BASE64URL_NOPAD;
use pagewise_part::card::Catalogue;
use pagewise_teach::lesson::Lessons;
use pagewise_teach::mark::{self, Mark};
use pagewise_teach::texts::Texts;
use serde_json::{Value, json};

static LESSONS: LazyLock<Lessons> = LazyLock::new(|| Lessons::embedded(&Catalogue::embedded().unwrap()).unwrap());

fn saved(lesson: &str, who: &str, program: &str) -> Value {
    // What the page may claim besides is not looked at.
    json!({ "pagewise": 1, "lesson": lesson, "who": who, "program": program, "answer": 2, "points": 100, "graded": "passed" })
}

fn hand_in(folder: &Path, file: &str, text: &str) {
    fs::write(folder.join(file), text).unwrap();
}

fn solution(lesson: &str, who: &str) -> String {
    LESSONS.find(lesson).unwrap().filled_solution(who)
}

fn marked(folder: &Path) -> Vec<Mark> {
    mark::folder(folder, &LESSONS, &Texts::english()).unwrap()
}

#[test]
fn programs_are_tried_on_parts_that_the_page_does_not_know() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    hand_in(at, "ada.json", &saved("busy-access", "Ada", &solution("busy-access", "Ada")).to_string());
    // Five milliseconds are enough for every part that the page tries, and too few for the slow one.
    let waits = solution("busy-access", "Ben").replace("poll 50W 20ms", "wait 5ms");
    hand_in(at, "ben.json", &saved("busy-access", "Ben", &waits).to_string());
    let naive = LESSONS.find("busy-access").unwrap().filled_program("Cem");
    hand_in(at, "cem.json", &saved("busy-access", "Cem", &naive).to_string());
    let marks = marked(at);
    let points: Vec<(&str, u32)> = marks.iter().map(|mark| (mark.name.as_str(), mark.points)).collect();
    assert_eq!(points, [("Ada", 100), ("Ben", 80), ("Cem", 20)]);
    assert_eq!(
        (marks[1].failed_on.as_str(), marks[1].first_failing.starts_with("S 50W 00 20")),
        ("at24cm02", true),
        "{marks:?}"
    );
    assert!(marks[2].feedback.starts_with("16 bytes are not what they should be, the first at 0x0020."), "{marks:?}");
    assert_eq!(marks[0].feedback, "Nothing is lost.");
    // Ben's program passes where it is tried first: with his own values, which are no copy.
    assert!(!marks[1].feedback.contains("values are those of"), "{marks:?}");
}

#[test]
fn links_files_and_what_is_neither() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let link = BASE64URL_NOPAD.encode(saved("page-wrap", "Ada", &solution("page-wrap", "Ada")).to_string().as_bytes());
    hand_in(at, "mail.txt", &format!("Dear teacher,\nmy link: <file:///class/room.html#{link}>.\nYours, Ada\n"));
    hand_in(at, "broken.json", "{\"lesson\":");
    fs::write(at.join("picture.png"), [0x89, 0x50, 0xFF, 0x00]).unwrap();
    hand_in(at, "unknown.json", &saved("page-warp", "Ben", "S 50W P").to_string());
    hand_in(at, "faulty.json", &saved("page-wrap", "Cem", "S 50W 00 10 P P").to_string());
    hand_in(at, "endless.json", &saved("page-wrap", "Dua", "repeat forever\nS 50W 00 10 11 P\nend").to_string());
    hand_in(at, "cheat.json", &saved("page-wrap", "Eva", "means 0010 11\nS 50W 00 10 11 P").to_string());
    fs::create_dir(at.join("folder")).unwrap();
    let marks = marked(at);
    assert_eq!(marks.len(), 7);
    let of = |file: &str| marks.iter().find(|mark| mark.file == file).unwrap();
    assert_eq!((of("mail.txt").name.as_str(), of("mail.txt").points), ("Ada", 100), "{marks:?}");
    for (file, part) in [
        ("broken.json", "neither saved by the page nor holds a link"),
        ("picture.png", "neither saved by the page nor holds a link"),
        ("unknown.json", "no lesson is called `page-warp`"),
        ("faulty.json", "line 1, column 15: there is no transfer to end"),
        ("endless.json", "The program does not end."),
        ("cheat.json", "`means` is given by the lesson"),
    ] {
        assert!(of(file).points == 0 && of(file).feedback.contains(part), "{file}: {:?}", of(file));
    }
    let empty = mark::folder(&at.join("folder"), &LESSONS, &Texts::english()).unwrap_err();
    assert!(empty.to_string().contains("holds 0 files"), "{empty}");
}

#[test]
fn copies_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let own = |who: &str| format!("# in two pieces, says {}\n{}", "my neighbour", solution("page-wrap", who));
    hand_in(at, "a.json", &saved("page-wrap", "Ada", &own("Ada")).to_string());
    hand_in(at, "b.json", &saved("page-wrap", "Ben", &own("Ben")).to_string());
    hand_in(at, "c.json", &saved("page-wrap", "Cem", &solution("page-wrap", "Cem")).to_string());
    // The very bytes of another student.
    hand_in(at, "d.json", &saved("page-wrap", "Dua", &solution("page-wrap", "Ada")).to_string());
    let marks = marked(at);
    let same: Vec<(&str, &str)> = marks.iter().map(|mark| (mark.name.as_str(), mark.same_text_as.as_str())).collect();
    assert_eq!(same, [("Ada", "Ben"), ("Ben", "Ada"), ("Cem", ""), ("Dua", "")]);
    assert!(marks[3].points == 0 && marks[3].feedback.ends_with("The values are those of Ada."), "{:?}", marks[3]);
}

#[test]
fn a_table_holds_no_formulas() {
    let folder = tempfile::tempdir().unwrap();
    hand_in(folder.path(), "x.json", &saved("=1+1", "@SUM(A1)", "-2\n\"quoted\"").to_string());
    let table = String::from_utf8(mark::csv(&marked(folder.path()))).unwrap();
    let lines: Vec<&str> = table.lines().collect();
    assert_eq!(lines[0], "file,name,lesson,points,passed,checks,failed_on,first_failing,feedback,same_text_as");
    assert!(lines[1].starts_with("x.json,'@SUM(A1),'=1+1,0,0,0,,,"), "{table}");
}

//! Every lesson fails as it says, and is repaired as it says, for every student and on every part that it names.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use pagewise_judge::hazard;
use pagewise_part::card::Catalogue;
use pagewise_player::{Bench, Graded, Run};
use pagewise_simulator::Hazard;
use pagewise_teach::lesson::{EMBEDDED, Lesson, Lessons, parse};
use pagewise_teach::texts::Texts;

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());
static LESSONS: LazyLock<Lessons> =
    LazyLock::new(|| Lessons::embedded(&CATALOGUE).unwrap_or_else(|faults| panic!("{faults}")));

const STUDENTS: [&str; 3] = ["Ada", "Ben", "Çağla"];

fn failing(lesson: &Lesson, who: &str, part: &pagewise_teach::lesson::Fitted) -> Run {
    let (board, program) = lesson.bench(who, &lesson.filled_program(who), false, None).unwrap();
    Run::new(&Bench { model: part.model.clone(), board }, &program)
}

fn named(run: &Run) -> BTreeSet<Hazard> {
    run.log().iter().flat_map(|step| &step.incidents).map(|incident| incident.hazard).collect()
}

#[test]
fn every_hazard_has_a_lesson_of_the_same_name() {
    for demonstration in hazard::all() {
        let lesson = LESSONS.find(demonstration.name).unwrap_or_else(|| panic!("no lesson {}", demonstration.name));
        assert_eq!(lesson.hazard, Some(demonstration.hazard), "{}", lesson.name);
    }
    for name in ["offset-to-address", "power-cut"] {
        assert!(LESSONS.find(name).is_some_and(|lesson| lesson.hazard.is_none()), "{name}");
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("lessons");
    let files: BTreeSet<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(files, EMBEDDED.iter().map(|(file, _)| (*file).to_owned()).collect());
}

#[test]
fn the_failing_program_fails_by_its_hazard_and_serves_on_the_part_beside() {
    let mut wrong = Vec::new();
    for lesson in &LESSONS.0 {
        for who in STUDENTS {
            let run = failing(lesson, who, &lesson.part);
            let lost = run.lost().len() + run.wrong_reads();
            let hazards = named(&run);
            let shows = lesson.hazard.is_none_or(|hazard| hazards.contains(&hazard));
            // Above its maximum a part may well store; what it stored counts for nothing.
            let loses = lost > 0 || lesson.hazard == Some(Hazard::Overvoltage) || lesson.name == "power-cut";
            if !shows || !loses {
                wrong.push(format!("{}, {who}: {lost} lost, {hazards:?}", lesson.name));
            }
            if let Some(beside) = &lesson.beside {
                let run = failing(lesson, who, beside);
                let lost = run.lost().len() + run.wrong_reads();
                if lost > 0 || !named(&run).is_empty() {
                    wrong.push(format!("{}, {who}, beside {}: {lost} lost, {:?}", lesson.name, beside.id, named(&run)));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_solution_passes_everywhere_and_the_failing_program_does_not() {
    let mut wrong = Vec::new();
    for lesson in &LESSONS.0 {
        assert!(lesson.checks.iter().any(|check| check.hidden), "{}: something is left for the marks", lesson.name);
        for who in STUDENTS {
            for check in &lesson.checks {
                let checked = lesson.grade(who, &lesson.filled_solution(who), check).unwrap();
                if !checked.graded.passed() {
                    wrong.push(format!(
                        "{}, {who}, {} `{}`: {:?}",
                        lesson.name, check.part.id, check.board, checked.graded
                    ));
                }
            }
        }
        let naive = lesson.grade_all("Ada", &lesson.filled_program("Ada"));
        if naive.iter().filter(|checked| !checked.hidden).all(|checked| checked.graded.passed()) {
            wrong.push(format!("{}: the failing program passes", lesson.name));
        }
        let nothing = lesson.grade_all("Ada", "wait 1ms");
        if nothing.iter().any(|checked| checked.graded.passed()) {
            wrong.push(format!("{}: a program that does nothing passes", lesson.name));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn another_students_values_do_not_pass() {
    for lesson in LESSONS.0.iter().filter(|lesson| lesson.solution.contains('{')) {
        let copied = lesson.grade_all("Ada", &lesson.filled_solution("Ben"));
        assert!(
            copied.iter().all(|checked| matches!(checked.graded, Graded::Lost { .. })),
            "{}: {copied:?}",
            lesson.name
        );
    }
}

#[test]
fn a_lesson_tells_every_fault_with_its_line() {
    let (_, text) = EMBEDDED[1];
    let text = text
        .replace("part = \"at24c32e\"\nbeside", "part = \"at24c32f\"\nbeside")
        .replace("hazard = \"page-wrap\"", "hazard = \"page-warp\"")
        .replace("right = true", "right = false")
        .replace("minutes = 20", "minutes = 0")
        .replace("S 50W 00 20 {16..47} P", "S 50W 00 {16..47}");
    let faults = parse("own.toml", &text, &CATALOGUE).unwrap_err().to_string();
    for part in [
        "own.toml:3: `hazard`: no hazard is called `page-warp`; near: page-wrap",
        "own.toml:4: `part`: ",
        "`question.choice`: has 3 choices of which 0 are right",
        "`teacher.minutes`: 0 is out of range; use a value from 1 to 240",
        "`solution`: 3 of it: the transfer has no end",
    ] {
        assert!(faults.contains(part), "{part}: {faults}");
    }
}

#[test]
fn one_answer_is_right_and_something_is_tried_on_the_page() {
    let (_, text) = EMBEDDED[1];
    let told = |text: &str| parse("own.toml", text, &CATALOGUE).unwrap_err().to_string();
    let two = told(&text.replacen("[[question.choice]]\n", "[[question.choice]]\nright = true\n", 1));
    assert!(two.contains("has 3 choices of which 2 are right"), "{two}");
    let hidden = text.replace("hidden = true\n", "").replace("[[check]]\n", "[[check]]\nhidden = true\n");
    assert!(told(&hidden).contains("the page would try nothing"), "{}", told(&hidden));
}

#[test]
fn a_lesson_of_ones_own_takes_the_place_of_ours() {
    let folder = tempfile::tempdir().unwrap();
    let mut own: toml::Table = EMBEDDED[1].1.parse().unwrap();
    own["title"] = "in words of my own".into();
    fs::write(folder.path().join("wrap.toml"), own.to_string()).unwrap();
    let lessons = Lessons::with_folder(folder.path(), &CATALOGUE).unwrap();
    assert_eq!((lessons.0.len(), lessons.0[1].title.as_str()), (EMBEDDED.len(), "in words of my own"));
}

#[test]
fn a_wrong_read_is_counted_from_one() {
    let said = Texts::english().graded(&Graded::ReadsWrong { wanted: 9, came: 8, first: 6 });
    assert!(said.contains('7') && !said.contains('6'), "{said}");
}

//! The page in one file, and its texts.

use std::path::Path;
use std::sync::LazyLock;

use pagewise_judge::board;
use pagewise_part::card::Catalogue;
use pagewise_player::{Bench, Program, Run};
use pagewise_simulator::Straps;
use pagewise_teach::case::{self, Surroundings};
use pagewise_teach::lesson::Lessons;
use pagewise_teach::page::{Opening, classroom, teacher};
use pagewise_teach::texts::Texts;
use pagewise_templates::classroom::{SCRIPTS, TEXTS};

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());
static LESSONS: LazyLock<Lessons> = LazyLock::new(|| Lessons::embedded(&CATALOGUE).unwrap());

#[test]
fn the_page_is_one_small_file_that_asks_for_nothing() {
    let page = classroom(&CATALOGUE, &LESSONS, &Texts::english(), &Opening::of_the_house());
    assert!(page.len() < 1_500_000, "{} bytes", page.len());
    for outside in ["http://", "https://", "src=", "@import", "url(", "fetch(", "XMLHttp"] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.contains("default-src 'none'"));
    for card in CATALOGUE.parts() {
        assert!(page.contains(&format!("\"id\":\"{}\"", card.id)), "{}", card.id);
    }
    let (_, data) = page.split_once("id=\"data\">").unwrap();
    let data: serde_json::Value = serde_json::from_str(data.split_once("</script>").unwrap().0).unwrap();
    for (lesson, shown) in LESSONS.0.iter().zip(data["lessons"].as_array().unwrap()) {
        let open = lesson.checks.iter().filter(|check| !check.hidden).count();
        assert_eq!(shown["checks"].as_array().unwrap().len(), open, "{}", lesson.name);
    }
    // The page tries nothing that is kept for the marks, and no solution is in it.
    for lesson in &LESSONS.0 {
        assert!(!page.contains(&serde_json::to_string(&lesson.solution).unwrap()), "{}", lesson.name);
    }
}

#[test]
fn a_text_does_not_end_the_script_that_it_stands_in() {
    let mut lessons = LESSONS.clone();
    lessons.0[0].title = "</script><b>bold</b>".to_owned();
    let page = classroom(&CATALOGUE, &lessons, &Texts::english(), &Opening::of_the_house());
    assert!(page.contains("\\u003c/script>\\u003cb>bold") && !page.contains("</script><b>"));
}

#[test]
fn the_teachers_pages_hold_what_the_page_does_not() {
    let page = teacher(&LESSONS, &Texts::english());
    for lesson in &LESSONS.0 {
        let answer = pagewise_templates::document::html(&lesson.teacher.answer);
        assert!(page.contains(&answer), "{}", lesson.name);
    }
    assert!(page.contains("when marked only") && page.contains("20 minutes"));
}

/// The keys that the script and the templates use, by their literal names, are the keys of the file.
#[test]
fn no_text_is_missing_and_none_is_surplus() {
    let texts = Texts::english();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |file: &str| std::fs::read_to_string(folder.join(file)).unwrap();
    let sources = [
        SCRIPTS.join("\n"),
        read("../../templates/classroom.html.tera"),
        read("../../templates/classroom_teacher.html.tera"),
        read("src/texts.rs"),
        read("src/page.rs"),
    ];
    let all = sources.join("\n");
    for key in texts.all().keys() {
        let by_prefix = ["phase_", "graded_", "fault_"].iter().any(|prefix| key.starts_with(prefix));
        let used = all.contains(&format!("\"{key}\"")) || all.contains(&format!("texts.{key} ")) || by_prefix;
        // The three kinds of condition on the bus are named by what they are.
        assert!(used || ["start", "restart", "stop"].contains(&key.as_str()), "{key} is used nowhere");
    }
    for piece in SCRIPTS.join("\n").split("say(\"").skip(1) {
        let key = piece.split('"').next().unwrap();
        assert!(texts.all().contains_key(key), "{key} is not in the file of texts");
    }
}

#[test]
fn a_translation_is_checked() {
    let turkish = TEXTS.replace("language = \"en\"", "language = \"tr\"").replace("step = \"Step\"", "step = \"Adım\"");
    assert_eq!(Texts::parse("tr.toml", &turkish).unwrap().all()["language"], "tr");
    let wrong =
        turkish.replace("{length} characters, at most", "{lenght} characters, at most").replace("pause = ", "pauze = ");
    let faults = Texts::parse("tr.toml", &wrong).unwrap_err().to_string();
    for part in
        ["nothing is filled in for `{lenght}`", "`pause`: is missing", "`pauze`: is not a text of the classroom"]
    {
        assert!(faults.contains(part), "{part}: {faults}");
    }
    assert!(Texts::parse("tr.toml", "a = 1").unwrap_err().to_string().contains("not a table of texts"));
}

#[test]
fn the_failing_transfer_of_a_swap_fails_on_the_page_too() {
    let boards = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards");
    let mut opened = 0;
    for entry in std::fs::read_dir(boards).unwrap() {
        let board = board::read(&entry.unwrap().path()).unwrap();
        let old = CATALOGUE.find(&board.fitted).unwrap();
        for new in board.candidates.iter().filter_map(|id| CATALOGUE.find(id)) {
            let Some(opening) = case::of_swap(&board, old, new) else { continue };
            let (place, program) = Program::parse(&opening.program)
                .unwrap_or_else(|faults| panic!("{}, {}: {faults:?}\n{}", board.name, new.id, opening.program));
            let run = |id: &str| {
                let model = opening.parts.iter().find(|part| part.id == id).unwrap().model.clone();
                Run::new(&Bench { model, board: place.clone() }, &program)
            };
            let (new_run, old_run) = (run(&opening.part), run(opening.beside.as_deref().unwrap()));
            let fails = |run: &Run| {
                run.lost().len() + run.wrong_reads() + run.log().iter().map(|step| step.incidents.len()).sum::<usize>()
            };
            println!("{} {} -> {}: {} against {}", board.name, old.id, new.id, fails(&new_run), fails(&old_run));
            assert_eq!(old_run.bench().model.name, old.chip_model().name, "beside it stands the fitted part");
            opened += usize::from(fails(&new_run) > 0);
        }
    }
    assert!(opened > 5, "{opened}");
}

#[test]
fn of_a_long_course_a_page_has_the_end() {
    let part = |id: &str| {
        let card = CATALOGUE.find(id).unwrap();
        (card.name.as_str(), card.chip_model())
    };
    let surroundings = Surroundings {
        name: "bench\nholds 0000 00",
        supply_mv: 3300,
        scl_hz: 400_000,
        straps: Straps::GROUND,
        others: &[],
        contents: Some(&[0xFF, 7]),
    };
    // A byte at a time, polled; then 40 bytes at once, and what comes after.
    let mut transfers: Vec<String> =
        (0..4000).map(|at| format!("S 50W 01 {:02X} {:02X} P\npoll 50W 10ms\n", at % 32, at % 251)).collect();
    transfers.push("S 50W 00 40 10..37 P\n".to_owned());
    transfers.push("poll 50W 10ms\nS 50W 00 40 Sr 50R ?? ?? P\n".to_owned());
    let of = |transfers: &[String], failing, new| {
        case::of_transfers(&surroundings, transfers, failing, part("24lc256"), part(new))
    };
    let opening = of(&transfers, Some(4000), "at24c32e").unwrap();
    let lines: Vec<&str> = opening.program.lines().collect();
    assert_eq!(lines[0], "# bench holds 0000 00", "a name is no line of the program");
    assert!(lines.iter().any(|line| line.ends_with("transfers before these are left out, and what they stored")));
    assert!(lines.contains(&"holds 0001 07") && *lines.last().unwrap() == "S 50W 00 40 10..37 P", "{lines:?}");
    // Also what both parts have stored is meant: the first eight bytes went astray, the ones behind them did not.
    assert!(lines.iter().any(|line| line.starts_with("means 0040 10 11 12 13 14 15 16 17 18 19")), "{lines:?}");
    assert!(opening.program.len() < 60_000, "what the page takes: {}", opening.program.len());
    let (board, program) = Program::parse(&opening.program).unwrap();
    let run = Run::new(&Bench { model: part("at24c32e").1, board }, &program);
    // 8 bytes at the page's end are overwritten at its start: 8 are elsewhere, 8 are what stood there.
    assert_eq!(run.lost().len(), 16, "{:?}", run.lost());
    assert_eq!(run.log()[opening.step].place.line, lines.len());
    // The same is found where nobody says which failed.
    let found = of(&transfers[3990..], None, "at24c32e").unwrap();
    assert_eq!(found.program.lines().last(), lines.last().copied());
    // What comes after a read is what the fitted part gives.
    let read = of(&transfers[3990..], Some(11), "at24c32e").unwrap();
    assert!(read.program.ends_with("Sr 50R 10 11 P\n"), "{}", read.program);
    assert!(of(&transfers[3990..], None, "at24c256c").is_none(), "nothing fails on pages of 64 bytes");
    assert!(of(&transfers, Some(4002), "at24c32e").is_none(), "there is no such transfer");
    assert!(of(&[format!("S 50W 00 00{} P\n", " 55".repeat(20_000))], Some(0), "at24c32e").is_none(), "too long");
}

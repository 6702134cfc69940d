//! The classroom in headless Chromium and Firefox (Debian packages chromium and firefox-esr), played as a person would.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use pagewise_part::card::Catalogue;
use pagewise_player::{Bench, MOST_STEPS, Run};
use pagewise_teach::lesson::{EMBEDDED, Lesson, Lessons};
use pagewise_teach::page::{Opening, classroom};
use pagewise_teach::texts::Texts;
use pagewise_tests::python::Python;
use pagewise_tests::tools;
use serde_json::{Value, json};

/// What would be a mischief if a page took it for anything but text.
const HOOK: &str = "</script><script>window.hacked=1</script><img src=x onerror=\"window.hacked=1\">";

/// The cards and lessons of the house, and one of each that means harm.
fn made(folder: &Path) -> (Catalogue, Lessons) {
    let (cards, lessons) = (folder.join("cards"), folder.join("lessons"));
    fs::create_dir_all(&cards).unwrap();
    fs::create_dir_all(&lessons).unwrap();
    let name = toml::Value::from(HOOK).to_string();
    let card = format!(
        "id = \"hostile\"\nname = {name}\nmaker = {name}\nkind = \"eeprom\"\ndocument = {name}\nnotes = {name}\n\
         capacity_bits = 32768\npage_bytes = 32\n"
    );
    fs::write(cards.join("hostile.toml"), card).unwrap();
    let mut lesson: toml::Table = EMBEDDED[1].1.parse().unwrap();
    for key in ["name", "title", "belief", "went", "task"] {
        lesson[key] = HOOK.into();
    }
    fs::write(lessons.join("hostile.toml"), lesson.to_string()).unwrap();
    let catalogue = Catalogue::with_directory(&cards).unwrap();
    let lessons = Lessons::with_folder(&lessons, &catalogue).unwrap();
    (catalogue, lessons)
}

/// Plays in a browser; returns what was seen, the lessons and the texts, or `None` with a printed reason.
fn play(browser: &str, which: &str) -> Option<(Value, Lessons, Texts)> {
    let program = tools::need(browser, browser)?;
    let releases = ["websocket-client==1.9.2", "axe-core-python==0.1.0"];
    let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &releases)?;
    // Of its own, since several play at once; what is seen stays there.
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("classroom-{browser}-{which}"));
    let (catalogue, lessons) = made(&folder);
    let (page, texts) = (folder.join("classroom.html"), Texts::english());
    let html = classroom(&catalogue, &lessons, &texts, &Opening::of_the_house());
    assert!(html.len() < 1_500_000, "{} bytes", html.len());
    fs::write(&page, &html).unwrap();
    let solutions: BTreeMap<&str, String> =
        lessons.0.iter().map(|lesson| (lesson.name.as_str(), lesson.filled_solution(""))).collect();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/classroom/browser.py");
    let axe = python.packages().join("axe_core_python/axe.min.js");
    let paths = [&program, &page, &folder, &axe].map(|path| path.to_str().unwrap());
    let arguments = [&paths[..], &[which]].concat();
    let seen = python.ask(&script, &arguments, &json!(solutions).to_string());
    let [read, began, ready] = [0, 1, 2].map(|at| seen["times"][at].as_f64().unwrap());
    println!(
        "{browser}: page of {} bytes read after {read:.0} ms, its script runs {:.0} ms to the first picture (at {ready:.0} ms \
         in all), then a step takes {:.0} ms; a program without end is given up after {:.0} ms",
        html.len(),
        ready - began,
        seen["first_step_ms"].as_f64().unwrap(),
        seen["hostile"]["endless_ms"].as_f64().unwrap()
    );
    Some((seen, lessons, texts))
}

/// A part of it in seconds, so that a page that is broken is noticed at once.
#[test]
fn a_class_plays_two_lessons() {
    let Some((seen, lessons, texts)) = play("chromium", "quick") else { return };
    played(&seen, &lessons.0[1..3], 1, &texts);
    moved(&seen);
    harmless(&seen, 2);
    looked_at(&seen, 2);
    named(&seen);
}

/// Plays for a minute, hence a step of its own (`bash .ci/long classroom`).
#[test]
#[ignore = "plays every lesson in a browser"]
fn a_class_plays_every_lesson_to_its_end() {
    let Some((seen, lessons, texts)) = play("chromium", "all") else { return };
    played(&seen, &lessons.0, 0, &texts);
    moved(&seen);
    steered(&seen);
    harmless(&seen, 11);
    looked_at(&seen, 7);
    named(&seen);
}

#[test]
#[ignore = "plays every lesson in a browser"]
fn a_class_plays_every_lesson_in_another_browser() {
    let Some((seen, lessons, texts)) = play("firefox-esr", "all") else { return };
    played(&seen, &lessons.0, 0, &texts);
    moved(&seen);
    steered(&seen);
    harmless(&seen, 11);
    looked_at(&seen, 4);
}

fn words(value: &Value) -> Vec<&str> {
    value.as_array().unwrap().iter().map(|it| it.as_str().unwrap()).collect()
}

/// Lessons, of which the first is number `from`.
fn played(seen: &Value, lessons: &[Lesson], from: usize, texts: &Texts) {
    let all = seen["lessons"].as_array().unwrap();
    assert_eq!(all.len(), lessons.len());
    for (at, (one, lesson)) in all.iter().zip(lessons).enumerate() {
        let name = &one["name"];
        assert_eq!(name, &lesson.name);
        assert_eq!(one["hidden"], true, "{name}: the bench shows before the answer");
        assert_eq!(one["answered"], if (from + at).is_multiple_of(2) { "good" } else { "bad" }, "{name}");
        let failing = one["failing"].as_str().unwrap();
        if let Some(hazard) = lesson.hazard {
            assert!(failing.contains(hazard.name()), "{name}: {failing}");
        }
        // The page says what the host finds.
        let (board, program) = lesson.bench("", &lesson.filled_program(""), false, None).unwrap();
        let run = Run::new(&Bench { model: lesson.part.model.clone(), board }, &program);
        let lost = match run.lost().len() {
            0 => texts.say("lost_none", &[]),
            lost => texts.say("lost_count", &[("count", &lost.to_string())]),
        };
        assert!(failing.contains(&lost), "{name}: {lost}\n{failing}");
        assert!(run.losses().iter().all(|loss| failing.contains(&loss.text)), "{name}: {failing}");
        assert!(words(&one["naive"]).contains(&"bad"), "{name}: {one}");
        let shown = lesson.checks.iter().filter(|check| !check.hidden).count();
        assert_eq!(words(&one["solved"]), vec!["good"; shown], "{name}: {}", one["said"]);
        assert!(one["said"].as_str().unwrap().contains(&texts.say("check_all", &[])), "{name}: {}", one["said"]);
    }
    assert_eq!(seen["played"], json!({ "console": [], "requests": [] }));
    let own = &seen["own"];
    let (said, chips) = (own["faulty"][0].as_str().unwrap(), own["chips"].as_str().unwrap());
    assert!(said.contains("Line 2, column 7: `0` is not a byte"), "{said}");
    assert_eq!((&own["faulty"][1], &own["faults"]), (&json!(0), &json!("")), "{own}");
    assert!(chips.contains(&texts.say("lost_count", &[("count", "1")])), "{chips}");
    assert!(chips.contains("0x0040 meant\t11\t22") && chips.contains("there\t11\t33\tFF"), "{chips}");
}

fn moved(seen: &Value) {
    let back = &seen["back_and_forth"];
    let [steps, same, different] = [0, 1, 2].map(|at| back["moves"][at].as_u64().unwrap());
    assert!(steps > 20 && same == steps && different > steps / 2, "{back}");
    let events = back["events"].as_array().unwrap();
    assert!(events.len() > 2 && events.len() < 10 && events.last().unwrap() == steps, "{back}");
    let [one, other] = [1, 2].map(|at| back["differs"][at].as_str().unwrap());
    assert_ne!(one.split_once('\n').unwrap().1, other.split_once('\n').unwrap().1, "where they first differ");
    let links = &seen["links"];
    assert_eq!([&links["same"], &links["saved"], &links["kept"]], [&json!(true); 3], "{links}");
    assert!(links["length"].as_u64().unwrap() < 2000, "{links}");
    assert!(links["long"].as_str().unwrap().contains("at most 2000"), "{links}");
}

/// With keys alone: every field on the way, a lesson to its end, through the steps.
fn steered(seen: &Value) {
    let keyboard = &seen["keyboard"];
    assert_eq!(keyboard["outline"], "solid", "{keyboard}");
    let stops = words(&keyboard["stops"]);
    for field in
        ["skip", "lesson", "part", "beside", "who", "share", "save", "print", "choice", "program", "play", "next"]
    {
        assert!(stops.contains(&field), "{field}: {keyboard}");
    }
    assert_eq!((&keyboard["begun"], words(&keyboard["focus"])), (&json!(1), vec!["start", "program"]), "{keyboard}");
    assert_eq!(words(&keyboard["solved"]), ["good"; 3], "{keyboard}");
    let steps: Vec<u64> = keyboard["where"].as_array().unwrap().iter().map(|it| it.as_u64().unwrap()).collect();
    assert_eq!((&steps[..3], steps[5]), (&[1, 2, 1][..], 0), "{keyboard}");
    assert!(steps[3] > 2 && steps[4] > steps[3], "{keyboard}");
}

fn harmless(seen: &Value, links: usize) {
    let hostile = &seen["hostile"];
    assert_eq!(hostile["ready"], json!(vec![true; links]), "{hostile}");
    assert_eq!(hostile["bounded"][0], MOST_STEPS, "{hostile}");
    assert!(hostile["bounded"][1].as_str().unwrap().contains("does not end"), "{hostile}");
    assert_eq!(hostile["hacked"], Value::Null, "{hostile}");
    assert_eq!((&hostile["scripts"], &hostile["images"]), (&json!(3), &json!(0)), "{hostile}");
    assert_eq!(hostile["added"], 1, "{hostile}");
    assert!(hostile["title"].as_str().unwrap().starts_with(HOOK), "{hostile}");
    assert!(hostile["sheet"].as_u64().unwrap() > 5000, "{hostile}");
    // The canary: a page that asks for something is noticed, and gets nothing.
    let outside = &seen["outside"];
    assert_eq!(
        (&outside["refused"], &outside["told"]),
        (&json!(true), &json!("http://127.0.0.1:9/x.png")),
        "{outside}"
    );
    assert_ne!(outside["console"], json!([]), "{outside}");
}

/// What a screen reader tells: everything that can be worked has a name, and the names are those of the page.
fn named(seen: &Value) {
    assert_eq!(seen["names"]["canary"], 1, "a button without a name is found");
    let told: Vec<(&str, &str)> = seen["names"]["told"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one[0].as_str().unwrap(), one[1].as_str().unwrap()))
        .collect();
    let loose = told.iter().filter(|(role, name)| name.is_empty() && *role != "group").count();
    assert_eq!(loose, 0, "{told:?}");
    for named in [
        ("combobox", "Lessons"),
        ("combobox", "Part"),
        ("textbox", "My name"),
        ("textbox", "Program"),
        ("button", "Write it into the program"),
        ("button", "Step"),
        ("button", "Back"),
        ("slider", "step 59 of 59"),
        ("region", "Bus"),
        ("region", "Chip"),
        ("group", "Memory"),
        ("heading", "Where bytes went"),
    ] {
        assert!(told.contains(&named), "{named:?}: {told:?}");
    }
}

fn looked_at(seen: &Value, count: usize) {
    let looks = seen["looks"].as_array().unwrap();
    assert_eq!(looks.len(), count);
    for look in looks {
        let name = &look["look"];
        assert_eq!((&look["console"], &look["requests"]), (&json!([]), &json!([])), "{name}");
        assert_eq!(look["axe"], json!([]), "{name}: accessibility");
        let widest = look["overflow"].as_array().unwrap().iter().map(|it| it.as_i64().unwrap()).max();
        assert_eq!(widest, Some(0), "{name}: wider than the window");
        assert!(look["picture"].as_u64().unwrap() > 50_000, "{name}: an empty picture");
        let ground = if look["scheme"] == "dark" { "rgb(20, 23, 26)" } else { "rgb(247, 247, 244)" };
        assert_eq!(look["colour"], ground, "{name}");
    }
}

//! The classroom in headless Chromium (Debian package chromium), played as a person would.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use pagewise_part::card::Catalogue;
use pagewise_teach::lesson::{EMBEDDED, Lessons};
use pagewise_teach::page::{Opening, classroom};
use pagewise_teach::texts::Texts;
use pagewise_tests::python::Python;
use pagewise_tests::tools;
use serde_json::{Value, json};

/// What would be a mischief if a page took it for anything but text.
const HOOK: &str = "</script><script>window.hacked=1</script><img src=x onerror=\"window.hacked=1\">";

/// The cards and lessons of the house, and one of each that means harm.
fn made(folder: &Path) -> (Catalogue, Lessons) {
    let (cards, lessons) = (folder.join("classroom-cards"), folder.join("classroom-lessons"));
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

/// Plays for a minute, hence a step of its own (`bash .ci/long classroom`).
#[test]
#[ignore = "plays every lesson in a browser"]
fn a_class_plays_every_lesson_to_its_end() {
    let Some(chromium) = tools::need("chromium", "chromium") else { return };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let releases = ["websocket-client==1.9.2", "axe-core-python==0.1.0"];
    let Some(python) = Python::with(folder, &releases) else { return };
    let (catalogue, lessons) = made(folder);
    let page = folder.join("classroom.html");
    let html = classroom(&catalogue, &lessons, &Texts::english(), &Opening::of_the_house());
    assert!(html.len() < 1_500_000, "{} bytes", html.len());
    fs::write(&page, &html).unwrap();
    let solutions: BTreeMap<&str, String> =
        lessons.0.iter().map(|lesson| (lesson.name.as_str(), lesson.filled_solution(""))).collect();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/classroom/browser.py");
    let axe = python.packages().join("axe_core_python/axe.min.js");
    let arguments = [&chromium, &page, &folder.to_owned(), &axe].map(|path| path.to_str().unwrap().to_owned());
    let seen = python.ask(&script, &arguments.each_ref().map(String::as_str), &json!(solutions).to_string());
    println!(
        "page {} bytes, ready after {} ms, first step {} ms, a program without end {} ms",
        html.len(),
        seen["ready_ms"],
        seen["first_step_ms"],
        seen["hostile"]["endless_ms"]
    );
    played(&seen, &lessons);
    moved(&seen);
    harmless(&seen);
    looked_at(&seen);
}

fn played(seen: &Value, lessons: &Lessons) {
    let all = seen["lessons"].as_array().unwrap();
    assert_eq!(all.len(), lessons.0.len());
    for (index, one) in all.iter().enumerate() {
        let (name, lesson) = (&one["name"], &lessons.0[index]);
        assert_eq!(one["hidden"], true, "{name}: the bench shows before the answer");
        assert_eq!(one["answered"], if index % 2 == 0 { "good" } else { "bad" }, "{name}");
        if let Some(hazard) = lesson.hazard {
            assert!(one["failing"].as_str().unwrap().contains(hazard.name()), "{name}: {}", one["failing"]);
        }
        let classes =
            |key: &str| -> Vec<&str> { one[key].as_array().unwrap().iter().map(|it| it.as_str().unwrap()).collect() };
        assert!(classes("naive").contains(&"bad"), "{name}: {one}");
        let shown = lesson.checks.iter().filter(|check| !check.hidden).count();
        assert_eq!(classes("solved"), vec!["good"; shown], "{name}: {}", one["said"]);
    }
    assert_eq!(seen["played"], json!({ "console": [], "requests": [] }));
}

fn moved(seen: &Value) {
    let [steps, same, different] = [0, 1, 2].map(|at| seen["back_and_forth"][at].as_u64().unwrap());
    assert!(steps > 20 && same == steps && different > steps / 2, "{}", seen["back_and_forth"]);
    let links = &seen["links"];
    assert_eq!((&links["same"], &links["kept"]), (&json!(true), &json!(true)), "{links}");
    assert!(
        links["length"].as_u64().unwrap() < 2000 && links["long"].as_str().unwrap().contains("at most 2000"),
        "{links}"
    );
    let keyboard = &seen["keyboard"];
    assert_eq!(keyboard["outline"], "solid", "{keyboard}");
    assert_eq!(keyboard["stops"].as_array().unwrap().last().unwrap(), "play", "{keyboard}");
    let where_: Vec<u64> = keyboard["where"].as_array().unwrap().iter().map(|it| it.as_u64().unwrap()).collect();
    assert_eq!((&where_[..3], where_[5]), (&[1, 2, 1][..], 0), "{keyboard}");
    assert!(where_[3] > 2 && where_[4] > where_[3], "{keyboard}");
}

fn harmless(seen: &Value) {
    let hostile = &seen["hostile"];
    assert!(hostile["ready"].as_array().unwrap().iter().all(|it| *it == true), "{hostile}");
    assert_eq!(hostile["hacked"], Value::Null, "{hostile}");
    assert_eq!((&hostile["scripts"], &hostile["images"]), (&json!(3), &json!(0)), "{hostile}");
    assert_eq!(hostile["added"], 1, "{hostile}");
}

fn looked_at(seen: &Value) {
    let looks = seen["looks"].as_array().unwrap();
    for look in looks {
        let name = &look["look"];
        assert_eq!((&look["console"], &look["requests"]), (&json!([]), &json!([])), "{name}");
        assert_eq!(look["axe"], json!([]), "{name}: accessibility");
        assert!(look["overflow"].as_i64().unwrap() <= 0, "{name}: wider than the window by {}", look["overflow"]);
        assert!(look["picture"].as_u64().unwrap() > 50_000, "{name}: an empty picture");
    }
    assert_ne!(looks[0]["colour"], looks[1]["colour"], "light and dark differ");
}

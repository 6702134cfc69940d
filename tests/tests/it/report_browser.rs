//! The HTML page in headless Chromium (Debian package chromium): in light, dark, narrow and on paper.

use std::fs;
use std::path::Path;

use pagewise_judge::swap::Verdict;
use pagewise_report::Report;
use pagewise_tests::python::Python;
use pagewise_tests::{reports, tools};
use serde_json::{Value, json};

#[test]
fn the_page_shows_well_asks_for_nothing_and_is_accessible() {
    let Some(chromium) = tools::need("chromium", "chromium") else { return };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let releases = ["websocket-client==1.9.2", "axe-core-python==0.1.0"];
    let Some(python) = Python::with(folder, &releases) else { return };
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/report/browser.py");
    let axe = python.packages().join("axe_core_python/axe.min.js");
    let all = reports::examples();
    let one = [all.iter().find(|answer| answer.board.file.ends_with("valve-driver.toml")).unwrap().clone()];
    for (name, answers) in [("one-board", &one[..]), ("thirteen-boards", all)] {
        let (catalogue, accept) = (reports::catalogue(), Verdict::Reconfigure.into());
        let report = Report { answers, catalogue, accept, full: false, currency: "" };
        let page = folder.join(format!("{name}.html"));
        fs::write(&page, report.page()).unwrap();
        let arguments = [&chromium, &page, &folder.to_owned(), &axe].map(|path| path.to_str().unwrap().to_owned());
        let seen = python.ask(&script, &arguments.each_ref().map(String::as_str), "");
        check(&seen, &page);
        on_a_phone(&seen["phone"], answers.len());
    }
}

/// On 390 pixels the page is read from top to bottom: no sideways scrolling, no columns of single letters, few stops.
fn on_a_phone(seen: &Value, boards: usize) {
    let (closed, opened) = (&seen["closed"], &seen["opened"]);
    assert_eq!([&closed["overflow"], &opened["overflow"]], [&json!(0); 2], "wider than the window");
    assert_eq!(opened["broken"], json!([]), "words broken in their middle");
    assert!(opened["narrowest"].as_f64().unwrap() >= 90.0, "a column of text: {opened}");
    // Of what does not fit the tables scroll by themselves, which takes a stop each; a board adds one or two.
    assert!(closed["stops"].as_u64().unwrap() <= 20 + 2 * boards as u64, "{closed}");
    assert_ne!(seen["canary"], json!([]), "a narrow column is noticed");
}

fn check(seen: &Value, page: &Path) {
    let looks = seen["looks"].as_array().unwrap();
    for look in looks {
        let name = &look["look"];
        assert_eq!(look["console"], json!([]), "{name}: the browser complains");
        let requests = look["requests"].as_array().unwrap();
        let own = format!("file://{}", page.canonicalize().unwrap().display());
        assert_eq!(*requests, [json!(own)], "{name}: a request to outside");
        assert_eq!(look["axe"], json!([]), "{name}: accessibility");
        assert!(look["overflow"].as_i64().unwrap() <= 0, "{name}: wider than the window by {}", look["overflow"]);
        assert!(look["picture"].as_u64().unwrap() > 50_000, "{name}: an empty picture");
    }
    assert_ne!(looks[0]["colour"], looks[1]["colour"], "light and dark differ");
    // A person with a keyboard sees where the focus is; the first stop leads past the head of the page.
    let stops = seen["keyboard"].as_array().unwrap();
    assert_eq!(stops[0][0], "a");
    for stop in stops {
        assert_eq!((stop[1].as_str(), stop[2].as_str()), (Some("solid"), Some("3px")), "{stops:?}");
    }
    assert_eq!(seen["hidden_in_print"], 0, "what is collapsed stands on paper all the same");
    assert!(seen["paper"].as_u64().unwrap() > 20_000);
}

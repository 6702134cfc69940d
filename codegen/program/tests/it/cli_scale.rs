//! Reports of 500 boards: small enough to open and to read, the same from `swap` and from `merge`.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use crate::cli_support::{refused, run};
use serde_json::Value;

const BOARDS: usize = 500;
/// A page that a phone opens.
const PAGE: usize = 2_000_000;
/// A comment that a forge takes.
const COMMENT: usize = 65_536;

fn size(text: &str, most: usize, what: &str) {
    assert!(text.len() <= most, "{what} has {} bytes, at most {most}", text.len());
}

/// The files that the links of a page lead to.
fn links(page: &str) -> BTreeSet<String> {
    let targets = page.split("href=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned());
    targets.filter(|target| !target.starts_with('#')).collect()
}

#[test]
fn five_hundred_boards_give_small_reports_and_a_page_each() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let invented = run(&["invent", "--boards", &BOARDS.to_string(), "--seed", "7", "--output", &at("fleet")]);
    assert_eq!(invented.code, 0, "{}", invented.err);
    let parts = ["--to", "24LC64", "--to", "AT24C256C", "--to", "24AA02E48"];
    let reports =
        |prefix: &str| ["--html", "--markdown", "--junit"].map(|option| (option, at(&format!("{prefix}{option}"))));
    let written = |verb: &[&str], prefix: &str| {
        let files = reports(prefix);
        let options: Vec<&str> = files.iter().flat_map(|(option, file)| [*option, file.as_str()]).collect();
        let run = run(&[verb, &options].concat());
        assert_ne!(run.code, 2, "{}", run.err);
        files.map(|(_, file)| fs::read_to_string(file).unwrap())
    };
    let lines = at("results.jsonl");
    let swap = written(&[&["swap", &at("fleet"), "--lines", &lines][..], &parts].concat(), "swap");
    let merge = written(&["merge", &lines, "--pages", &at("pages")], "merge");
    assert!(swap == merge, "the reports of results say what those of the run say");

    let [html, markdown, junit] = &swap;
    size(html, PAGE, "the page");
    size(markdown, COMMENT, "the comment");
    assert_eq!(junit.matches("<testcase ").count(), BOARDS);
    let names: BTreeSet<String> = fs::read_to_string(&lines)
        .unwrap()
        .lines()
        .skip(1)
        .map(|line| serde_json::from_str::<Value>(line).unwrap()["name"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(names.len(), BOARDS);
    for name in &names {
        assert!(html.contains(&format!(">{name}<")), "{name} has no row");
        assert!(markdown.contains(name.as_str()), "{name} is not in the comment");
    }
    // The chart of the fleet comes first, and counts every board.
    let chart = html.find("boards at a glance").unwrap();
    assert!(chart < html.find(">To order<").unwrap_or(usize::MAX) && chart < html.find("<table").unwrap());

    let pages = folder.path().join("pages");
    let index = fs::read_to_string(pages.join("index.html")).unwrap();
    size(&index, PAGE, "the index");
    let targets = links(&index);
    assert_eq!(targets.len(), BOARDS);
    for target in &targets {
        let page = fs::read_to_string(pages.join(target)).unwrap();
        size(&page, PAGE, target);
        assert_eq!(links(&page), BTreeSet::from(["index.html".to_owned()]), "{target}");
    }
    assert_eq!(fs::read_dir(&pages).unwrap().count(), BOARDS + 1);
    refused(&["merge", &lines, "--pages", &at("pages")], "is not empty");
}

/// From `swap` itself, the page of a board has its pictures.
#[test]
fn the_page_of_a_board_is_the_whole_one_where_it_was_judged() {
    let folder = tempfile::tempdir().unwrap();
    let board = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards/valve-driver.toml");
    let pages = folder.path().join("pages");
    let swap = run(&["swap", &board.display().to_string(), "--pages", &pages.display().to_string()]);
    assert_eq!(swap.code, 0, "{}", swap.err);
    let index = fs::read_to_string(pages.join("index.html")).unwrap();
    let target = links(&index).into_iter().next().unwrap();
    let page = fs::read_to_string(pages.join(&target)).unwrap();
    assert!(page.contains("The first failing transaction") && page.contains("href=\"index.html\""), "{target}");
}

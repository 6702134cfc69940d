//! The HTML page, read by an independent strict parser (`html5lib` from PyPI).

use std::path::Path;
use std::sync::OnceLock;

use pagewise_base::paint::plain;
use pagewise_judge::fleet::{self, BoardAnswer, Candidates};
use pagewise_judge::swap::{Accept, Verdict};
use pagewise_report::Report;
use pagewise_tests::python::Python;
use pagewise_tests::{hostile, reports};
use serde_json::{Value, json};

fn report(answers: &[BoardAnswer]) -> String {
    Report {
        answers,
        catalogue: reports::catalogue(),
        accept: Accept::from(Verdict::Reconfigure).granting(),
        full: false,
        currency: "EUR",
    }
    .page()
}

/// What the parser saw of each page.
fn read(pages: &[String]) -> Option<Vec<Value>> {
    let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &["html5lib==1.1"])?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/report/page.py");
    let seen = python.ask(&script, &[], &serde_json::to_string(pages).unwrap());
    Some(seen.as_array().unwrap().clone())
}

/// Every example board with the candidates that it names.
fn examples() -> Option<&'static Value> {
    static SEEN: OnceLock<Option<Value>> = OnceLock::new();
    SEEN.get_or_init(|| Some(read(&[report(reports::examples())])?.remove(0))).as_ref()
}

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().unwrap()
}

/// As a browser shows it: blanks run together.
fn spaced(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A user's text as a page may show it.
fn shown(text: &str) -> String {
    let nobody = |c: char| matches!(u32::from(c), 0xFDD0..=0xFDEF) || u32::from(c) & 0xFFFE == 0xFFFE;
    spaced(&plain(text).replace(nobody, "?"))
}

#[test]
fn the_page_is_valid_and_needs_nothing_from_outside() {
    let Some(page) = examples() else { return };
    assert_eq!(page["errors"], json!([]));
    assert_eq!((&page["scripts"], &page["handlers"]), (&json!(0), &json!([])));
    for reference in list(page, "references") {
        assert!(reference.as_str().unwrap().starts_with('#'), "{reference}");
    }
    assert_eq!(page["identifiers"], page["distinct"], "an identifier is used twice");
    assert_eq!(page["dangling"], json!([]), "something refers to nothing");
}

#[test]
fn a_screen_reader_finds_its_way() {
    let Some(page) = examples() else { return };
    assert_eq!(page["language"], "en");
    assert_eq!(page["landmarks"], json!(["header", "nav", "main", "footer"]));
    let mut before = 0;
    for heading in list(page, "headings") {
        let level = heading[0].as_u64().unwrap();
        assert!(level <= before + 1, "{heading} follows a heading of level {before}");
        before = level;
    }
    let first: Vec<&Value> = list(page, "headings").iter().filter(|heading| heading[0] == 1).collect();
    assert_eq!(first.len(), 1);
    assert_eq!(
        first[0][1], "Each of 13 boards has a candidate that needs new settings at most, conditions granted.",
        "the verdict is first"
    );
    assert!(page["tables"].as_u64().unwrap() > 50);
    assert_eq!((&page["bare_headers"], &page["tables_without_headers"]), (&json!(0), &json!(0)));
    assert!(list(page, "pictures").len() > 60);
    for picture in list(page, "pictures") {
        assert_eq!(*picture, json!(["img", ["title", "desc"], [true, true]]));
    }
    for verdict in list(page, "verdicts") {
        let word = verdict.as_str().unwrap().trim_end_matches('?');
        assert!(
            ["note", "today", "condition"].contains(&word) || Verdict::ALL.iter().any(|verdict| verdict.word() == word),
            "colour alone: {verdict}"
        );
    }
}

#[test]
fn the_page_says_everything_that_the_judgements_say() {
    let Some(page) = examples() else { return };
    let texts: Vec<&str> = list(page, "texts").iter().map(|text| text.as_str().unwrap()).collect();
    let said = |text: &str| texts.iter().any(|told| told.contains(&spaced(text)));
    assert!(said("serve 13 boards. No choice has fewer"));
    for judgement in reports::examples().iter().flat_map(|answer| &answer.judgements) {
        for finding in judgement.findings.iter().filter(|finding| finding.proviso.is_none()) {
            let (kind, source) = finding.source.to_string().split_once(": ").map_or_else(
                || ("derived".to_owned(), finding.source.to_string().replace("derived from values in ", "")),
                |(kind, source)| (kind.split(',').next().unwrap_or_default().to_owned(), source.to_owned()),
            );
            assert!(said(&finding.compared) && said(&finding.remedy), "{finding:?}");
            assert!(said(&format!("{kind} {source}")) || said(&source), "{kind}: {source}");
        }
        for text in &judgement.provided_that {
            assert!(said(text), "{text}");
        }
        assert!(judgement.evidence.new.told().first_loss.is_none_or(|loss| said(&loss)));
    }
}

#[test]
fn the_drawn_lines_decode_to_the_transaction_of_the_evidence() {
    let Some(page) = examples() else { return };
    let drawn = list(page, "timing");
    let failing = |run: &pagewise_judge::swap::Run| run.told().transaction;
    let told: Vec<String> = reports::examples()
        .iter()
        .flat_map(|answer| &answer.judgements)
        .filter_map(|judgement| {
            let evidence = &judgement.evidence;
            failing(&evidence.new).or_else(|| evidence.worst_case.as_ref().and_then(failing))
        })
        .collect();
    assert!(told.len() >= 10, "{}", told.len());
    assert_eq!(drawn.len(), told.len());
    for (told, drawn) in told.iter().zip(drawn) {
        // `1.375 us  S 50W+ 00+ 00+ 00+ ... P`
        let words: Vec<String> = told
            .split_whitespace()
            .skip(2)
            .filter(|word| *word != "…")
            .map(|word| match word.as_bytes() {
                [_, _, direction @ (b'W' | b'R'), answer] => {
                    let address = u8::from_str_radix(&word[..2], 16).unwrap();
                    format!("{:02X}{}", address << 1 | u8::from(*direction == b'R'), char::from(*answer))
                }
                _ => word.replace("Sr", "S"),
            })
            .collect();
        let stretches = drawn.as_array().unwrap();
        let all: Vec<&str> =
            stretches.iter().flat_map(|it| it.as_array().unwrap()).map(|it| it.as_str().unwrap()).collect();
        let drawn_whole = told.ends_with(" P") && all.len() == words.len();
        let same = words.iter().zip(&all).take_while(|(word, drawn)| word == drawn).count();
        assert!(same >= words.len().min(5), "{told} is drawn as {all:?}");
        assert!(!drawn_whole || same == words.len(), "{told} is drawn as {all:?}");
        assert_eq!(all.last(), Some(&"P"), "{told} is drawn as {all:?}");
    }
}

#[test]
fn thirteen_boards_with_every_part_stay_small_and_closed() {
    let boards = reports::examples().iter().map(|answer| answer.board.clone()).collect();
    let answers = fleet::judge_all(fleet::jobs(reports::catalogue(), boards, Candidates::All).unwrap());
    let text = report(&answers);
    let judgements: usize = answers.iter().map(|answer| answer.judgements.len()).sum();
    println!("{judgements} judgements, {} bytes", text.len());
    assert!(judgements > 2400 && text.len() < 3_000_000, "{judgements} judgements, {} bytes", text.len());
    let Some(seen) = read(&[text]) else { return };
    assert_eq!((&seen[0]["errors"], &seen[0]["dangling"]), (&json!([]), &json!([])));
    // Only short lists of best candidates stand open.
    assert!(seen[0]["open"].as_u64().unwrap() <= 13 && seen[0]["details"].as_u64().unwrap() > 90);
    let texts: Vec<&str> = list(&seen[0], "texts").iter().map(|text| text.as_str().unwrap()).collect();
    for judgement in answers.iter().flat_map(|answer| &answer.judgements) {
        let name = &reports::catalogue().find(&judgement.candidate).unwrap().name;
        assert!(texts.contains(&name.as_str()), "{name} has no row");
    }
}

#[test]
fn texts_of_users_stay_texts() {
    const SEED: u64 = 0x5EED;
    let texts = hostile::texts(60, SEED);
    let example = |name: &str, region: &str| reports::example("valve-driver.toml", name, name, region);
    let mut pages = vec![report(&[example("harmless", "harmless")])];
    pages.extend(texts.iter().map(|text| report(&[example(text, text)])));
    let Some(seen) = read(&pages) else { return };
    for (text, found) in texts.iter().zip(&seen[1..]) {
        assert_eq!(found["errors"], json!([]), "seed {SEED}: {text:?}");
        // The map leaves a region's name out, or shortens it, where it has no room; its other elements stay.
        let shape = |page: &Value| {
            let elements = list(page, "shape").iter();
            elements.filter(|element| element[0] != "text").cloned().collect::<Vec<_>>()
        };
        assert_eq!(shape(found), shape(&seen[0]), "seed {SEED}: {text:?}");
        let expected = shown(text);
        let told: Vec<String> = list(found, "texts").iter().map(|text| spaced(text.as_str().unwrap())).collect();
        let count = told.iter().filter(|told| **told == expected).count();
        assert!(count >= 3, "seed {SEED}: {expected:?} should be heading, file and region, found {count} times");
        let finding = spaced(&format!("writing `{}` sends 64 bytes", plain(text)));
        assert!(told.iter().any(|told| told.contains(&spaced(&shown(&finding)))), "seed {SEED}: {finding}");
    }
}

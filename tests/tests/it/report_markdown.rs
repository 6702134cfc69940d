//! The Markdown report, rendered by an independent renderer of the dialect that forges use (`cmarkgfm` from PyPI).

use std::path::Path;

use pagewise_base::paint::plain;
use pagewise_judge::fleet::{self, BoardAnswer, Candidates};
use pagewise_judge::stock::{Offer, State};
use pagewise_judge::swap::Verdict;
use pagewise_part::card::Catalogue;
use pagewise_report::Report;
use pagewise_tests::python::Python;
use pagewise_tests::{hostile, reports};
use serde_json::Value;

fn report(answers: &[BoardAnswer]) -> String {
    Report {
        answers,
        catalogue: reports::catalogue(),
        accept: Verdict::Reconfigure.into(),
        full: false,
        currency: "EUR",
    }
    .markdown()
}

/// What the renderer made of each document.
fn read(documents: &[String]) -> Option<Vec<Value>> {
    let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &["cmarkgfm==2025.10.22"])?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/report/markdown.py");
    let seen = python.ask(&script, &[], &serde_json::to_string(documents).unwrap());
    Some(seen.as_array().unwrap().clone())
}

/// Without the joiners that keep a forge from calling people by name.
fn unjoined(value: &Value) -> String {
    value.as_str().unwrap().replace('\u{2060}', "")
}

/// As a browser shows it: blanks run together; and without joiners of the text's own.
fn spaced(text: &str) -> String {
    text.replace('\u{2060}', "").split([' ', '\n']).filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

#[test]
fn the_table_lists_every_board_with_its_best_verdict() {
    let answers = reports::examples();
    let Some(seen) = read(&[report(answers)]) else { return };
    let cells: Vec<String> = seen[0]["cells"].as_array().unwrap().iter().map(unjoined).collect();
    let head = ["board", "fitted", "best candidate", "verdict", "drop-in", "reconfigure", "rework", "reject"];
    assert_eq!(cells[..8], head);
    for (answer, row) in answers.iter().zip(cells[8..].chunks(8)) {
        let count = |verdict| answer.judgements.iter().filter(|it| it.verdict == verdict).count().to_string();
        assert_eq!(
            (&row[0], row[3].split(',').next()),
            (&answer.board.name, Some(answer.judgements[0].verdict.word()))
        );
        assert_eq!(row[4..], Verdict::ALL.map(count));
    }
    let text = unjoined(&seen[0]["text"]);
    for finding in answers.iter().flat_map(|answer| &answer.judgements).flat_map(|judgement| &judgement.findings) {
        if finding.proviso.is_none() {
            assert!(text.contains(&finding.compared) && text.contains(&finding.remedy), "{finding:?}");
        }
    }
}

#[test]
fn a_stock_list_gives_its_offers_a_column_each() {
    let mut answer = reports::examples().iter().find(|answer| answer.judgements.len() > 1).unwrap().clone();
    let price = serde_json::from_str("\"0.31\"").unwrap();
    let (state, lead_time_days, yearly_cost) = (State::LastBuy, Some(14), None);
    let offer = Offer {
        line: 2,
        part: "24LC256-I/SN".to_owned(),
        number: None,
        quantity: 40,
        needed: Some(150),
        enough: false,
        state,
        lead_time_days,
        unit_price: price,
        yearly_cost,
        also: Vec::new(),
    };
    answer.offers.insert(answer.judgements[0].candidate.clone(), offer);
    let Some(seen) = read(&[report(&[answer])]) else { return };
    let cells: Vec<String> = seen[0]["cells"].as_array().unwrap().iter().map(unjoined).collect();
    // Behind the table of boards, with one board, and its heading.
    let table: Vec<&[String]> = cells[17..].chunks(7).collect();
    assert_eq!(table[0][2..6], ["in stock", "state", "lead time", "a year"]);
    assert_eq!(table[1][2..6], ["40, 150 needed", "last buy", "14 days", "0.31 EUR each"]);
    assert_eq!(table[2][2..6], ["", "", "", ""], "not on the list");
}

#[test]
fn a_comment_stays_short_enough_for_a_forge_when_every_card_is_judged() {
    let catalogue = Catalogue::embedded().unwrap();
    let board = reports::examples()[0].board.clone();
    let answers = fleet::judge_all(fleet::jobs(&catalogue, vec![board], Candidates::All).unwrap());
    let text = report(&answers);
    assert!(answers[0].judgements.len() > 190);
    // Thirteen boards of this size stay below 64 KiB, where a common forge cuts (common practice, no source).
    assert!(13 * text.len() < 65_536, "{} bytes", text.len());
    assert!(text.contains("cannot serve."));
}

#[test]
fn texts_of_users_stay_texts() {
    const SEED: u64 = 0x5EED;
    let texts = hostile::texts(300, SEED);
    let example = |name: &str| reports::example("valve-driver.toml", name, name, name);
    let mut documents = vec![report(&[example("harmless")])];
    documents.extend(texts.iter().map(|text| report(&[example(text)])));
    let Some(seen) = read(&documents) else { return };
    for (text, found) in texts.iter().zip(&seen[1..]) {
        assert_eq!(found["shape"], seen[0]["shape"], "seed {SEED}: {text:?}");
        let expected = spaced(&plain(text));
        assert_eq!(spaced(&unjoined(&found["cells"][8])), expected, "seed {SEED}");
        let told = spaced(&unjoined(&found["text"]));
        let line = spaced(&format!("File {expected} ; fitted")).replace(" ;", ";");
        assert!(told.replace(" ;", ";").contains(&line), "seed {SEED}: {line:?} in {told}");
    }
}

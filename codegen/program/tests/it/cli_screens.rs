//! Answers on terminals of 60, 80 and 140 columns: nothing is wider, and what decides is never cut.

use std::fs;
use std::path::Path;

use crate::cli_support::{command, finished, run, write};

const WIDTHS: [usize; 3] = [60, 80, 140];

fn examples(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples").join(name).display().to_string()
}

/// The lines of an answer on a terminal of so many columns.
fn screen(columns: usize, words: &[&str]) -> Vec<String> {
    let mut command = command(words);
    command.env("COLUMNS", columns.to_string());
    let run = finished(command.output().unwrap());
    assert_ne!(run.code, 2, "{words:?}: {}", run.err);
    run.out.lines().map(str::to_owned).collect()
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    // File names of a test are long; the boards are copied to where their names are short.
    fs::copy(examples("boards/gateway.toml"), at("gateway.toml")).unwrap();
    let lines = at("results.jsonl");
    let boards = examples("boards");
    assert!(
        run(&["swap", &boards, "--accept-conditions", "--stock", &examples("stock.csv"), "--lines", &lines]).code < 2
    );
    let gateway = at("gateway.toml");
    let calls: [&[&str]; 14] = [
        &["parts", "--density", "256k"],
        &["show", "24lc64"],
        &["hazards"],
        &["marking", "24LC256T-I/SN", "23LC1024"],
        &["swap", &gateway, "--all"],
        &["swap", &gateway, "--stock", &examples("stock.csv")],
        &["swap", &gateway, "--to", "24lc64"],
        &["swap", &boards, "--accept-conditions"],
        &["merge", &lines],
        &["order", &lines],
        &["exposed", "24LC256", &boards],
        &["budget", &gateway, "--to", "24lc64"],
        &["layout", &examples("layouts/field-gateway.toml"), "--part", "at24c02d"],
        &["help", "conditions"],
    ];
    for call in calls {
        for width in WIDTHS {
            for line in screen(width, call) {
                // The path of a file is one word, and stands whole.
                let path = line.contains(&at("")) || line.contains(&examples(""));
                // The drawing of the address bits has a cell for each.
                let drawing = line.contains(['│', '─', '┌', '└', '├']) && width < 80;
                let wide = line.chars().count();
                assert!(path || drawing || wide <= width, "{call:?} at {width}: {wide} columns: {line}");
            }
        }
    }
}

/// One candidate that changes three things: the first is said with the number of the others, whole, at every width.
#[test]
fn what_decides_is_never_cut() {
    let gateway = examples("boards/gateway.toml");
    let json = run(&["swap", &gateway, "--all", "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let judgements = answer["boards"][0]["judgements"].as_array().unwrap();
    let asks = |judgement: &&serde_json::Value| {
        let findings = judgement["findings"].as_array().unwrap().iter();
        let asks =
            findings.filter(|it| it["verdict"] != "drop-in" && it["proviso"].is_null() && it["with_fitted"] == false);
        asks.map(|it| format!("{}: {}", it["rule"].as_str().unwrap(), it["remedy"].as_str().unwrap()))
            .collect::<Vec<_>>()
    };
    let several = judgements.iter().find(|it| it["verdict"] == "reconfigure" && asks(it).len() > 1);
    let several = several.expect("a candidate that changes several things");
    let (part, asks) = (several["candidate"].as_str().unwrap(), asks(&several));
    for width in WIDTHS {
        let lines = screen(width, &["swap", &gateway, "--all"]);
        let row = lines.iter().position(|line| line.split_whitespace().nth(1) == Some(part));
        let row = row.unwrap_or_else(|| panic!("{part} has no row at {width}:\n{}", lines.join("\n")));
        assert!(lines[row].contains("reconfigure"), "{width}: {}", lines[row]);
        // Beside the row or below it, in as many lines as it takes.
        let end = (row + 8).min(lines.len());
        let squeezed: String = lines[row..end].concat().split_whitespace().collect();
        let words: String = asks[0].split_whitespace().collect();
        let more = format!("(+{}more)", asks.len() - 1);
        assert!(
            squeezed.contains(&words) && squeezed.contains(&more),
            "{width}: {asks:?}\n{}",
            lines[row..end].join("\n")
        );
    }
}

#[test]
fn names_are_shortened_in_their_middle_and_only_where_there_is_no_room() {
    let folder = tempfile::tempdir().unwrap();
    let card = crate::cli_support::card("\"An Extraordinarily Long Name Of A Maker GmbH\"");
    write(folder.path(), "own.toml", &card);
    let cards = folder.path().display().to_string();
    let row = |width: usize| {
        let lines = screen(width, &["parts", "own", "--cards", &cards]);
        lines.into_iter().find(|line| line.trim_start().starts_with("own")).expect("its row")
    };
    assert!(row(140).contains("An Extraordinarily Long Name Of A Maker GmbH"), "{}", row(140));
    let narrow = row(60);
    assert!(narrow.contains('…') && narrow.contains("GmbH") && narrow.contains("An "), "{narrow}");
}

#[test]
fn money_has_its_currency_and_stock_its_need() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    write(
        folder.path(),
        "stock.csv",
        "part,quantity,unit_price,state\n24LC64,120,0.30,active\nAT24C256C,9000,0.20,active\n",
    );
    write(folder.path(), "columns.toml", "currency = \"EUR\"\n");
    let board = examples("boards/valve-driver.toml");
    let stock = ["--stock", &at("stock.csv"), "--columns", &at("columns.toml")];
    let swap = run(&[&["swap", &board, "--lines", &at("r.jsonl")][..], &stock].concat());
    assert!(swap.out.contains("EUR") && swap.out.contains("120 in stock, 150 needed"), "{}", swap.out);
    let order = run(&["order", &at("r.jsonl")]).out;
    assert!(order.contains("9000 in stock, 150 needed") && order.contains("EUR"), "{order}");
    assert!(!order.contains(" short"), "{order}");
}

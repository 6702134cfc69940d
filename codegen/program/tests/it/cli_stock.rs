//! Stock lists: read with all their faults, joined to verdicts, ranked.

use std::path::Path;

use crate::cli_support::{Run, run, write};
use serde_json::Value;
use tempfile::TempDir;

fn example(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards").join(name).display().to_string()
}

const LIST: &str = "part,quantity,unit_price,lead_time_days,state\n\
    AT24C256C,5000,0.31,14,active\n\
    24LC256,40,0.42,30,active\n\
    24lc64,9000,0.2,,last buy\n\
    RES-10K-0603,10000,0.001,7,active\n\
    24FC256,900,0.30,14,active\n";

fn with_list(list: &str, columns: Option<&str>, more: &[&str]) -> (TempDir, Run) {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "stock.csv", list);
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (board, stock, toml) = (example("valve-driver.toml"), path("stock.csv"), path("columns.toml"));
    let mut arguments = vec!["swap", &board, "--stock", &stock];
    if let Some(text) = columns {
        write(folder.path(), "columns.toml", text);
        arguments.extend(["--columns", &toml]);
    }
    arguments.extend(more);
    let run = run(&arguments);
    (folder, run)
}

fn candidates(answer: &Value) -> Vec<&str> {
    let judgements = answer["boards"][0]["judgements"].as_array().unwrap();
    judgements.iter().map(|judgement| judgement["candidate"].as_str().unwrap()).collect()
}

#[test]
fn the_list_names_the_candidates_and_ranks_them_by_verdict_availability_and_cost() {
    let (_folder, run) = with_list(LIST, None, &["--json"]);
    let answer = run.json();
    // Drop-in all but the last: enough and cheaper, enough, too few for 150 a year; then reconfigure.
    assert_eq!(candidates(&answer), ["24fc256", "at24c256c", "24lc256", "24lc64"]);
    let offers = &answer["boards"][0]["offers"];
    assert_eq!(offers["24fc256"]["yearly_cost"], "45.00");
    assert_eq!(offers["24lc256"]["enough"], false);
    assert_eq!(offers["24lc64"]["state"], "last-buy");
    assert_eq!(offers["24lc64"]["lead_time_days"], Value::Null);
    assert_eq!(answer["stock"]["without_card"][0]["part"], "RES-10K-0603");
    assert_eq!(answer["stock"]["without_card"][0]["line"], 5);
}

#[test]
fn a_better_verdict_stands_above_better_availability_and_state_above_lead_time_and_cost() {
    let list = "part,quantity,unit_price,lead_time_days,state\n\
        24lc64,90000,0.01,1,active\n\
        at24c256c,1000,0.10,1,obsolete\n\
        24fc256,1000,0.90,90,active\n\
        24lc256,1000,0.50,90,active\n\
        at24c512c-5v5,1000,0.95,30,active\n";
    let (_folder, run) = with_list(list, None, &["--json"]);
    let answer = run.json();
    let ranked = candidates(&answer);
    assert_eq!(ranked.last(), Some(&"24lc64"), "reconfigure comes last however cheap: {ranked:?}");
    let place = |part: &str| ranked.iter().position(|one| *one == part).unwrap();
    assert!(place("24lc256") < place("24fc256"), "same lead time, lower cost: {ranked:?}");
    assert!(place("24fc256") < place("at24c256c"), "an obsolete part comes after those in production: {ranked:?}");
}

#[test]
fn of_all_parts_those_on_the_list_stand_first_among_equal_verdicts() {
    let (_folder, run) = with_list(LIST, None, &["--all", "--json"]);
    let answer = run.json();
    let offers = answer["boards"][0]["offers"].as_object().unwrap();
    let judgements = answer["boards"][0]["judgements"].as_array().unwrap();
    let listed = |verdict: &str| -> Vec<bool> {
        let equal = judgements.iter().filter(|judgement| judgement["verdict"] == verdict);
        equal.map(|judgement| offers.contains_key(judgement["candidate"].as_str().unwrap())).collect()
    };
    for verdict in ["drop-in", "reconfigure"] {
        let listed = listed(verdict);
        assert!(listed.contains(&true) && listed.contains(&false), "{verdict}: nothing to compare");
        assert!(
            listed.is_sorted_by(|a, b| a >= b),
            "{verdict}: a part that is not on the list stands before one that is"
        );
    }
}

const HEADER: &str = "part,quantity,unit_price,state\n";

#[test]
fn a_longer_order_code_is_read_as_the_one_card_that_it_begins_with() {
    // 24AA02E48 is a part of its own, not a 24AA02 with a suffix.
    let list =
        format!("{HEADER}24LC256-I/SN,900,0.3,active\n24AA02E48T-I/OT,10,0.2,active\nAT24C256C-SSHL-T,1,1,active\n");
    let (_folder, run) = with_list(&list, None, &["--json"]);
    let answer = run.json();
    // Whose pieces are all known is a candidate of its own: this part in this package.
    assert_eq!(answer["boards"][0]["offers"]["24lc256-i-sn"]["quantity"], 900);
    let read: Vec<_> = answer["stock"]["read_as"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (row["line"].as_u64().unwrap(), row["part"].as_str().unwrap(), row["card"].as_str().unwrap()))
        .collect();
    let expected = [(3, "24AA02E48T-I/OT", "24aa02e48"), (4, "AT24C256C-SSHL-T", "at24c256c")];
    assert_eq!(read, expected);
    assert_eq!(answer["stock"]["without_card"], serde_json::json!([]));
    let (_folder, run) = with_list(&list, None, &[]);
    // The lines may be broken anywhere between words and behind hyphens.
    let words: String = run.out.split_whitespace().collect();
    assert!(words.contains("`24AA02E48T-I/OT`(line3)readas24aa02e48"), "{words}");
}

/// Densities, families and abbreviated marks may be read, but no card is chosen by them.
#[test]
fn what_may_mean_several_cards_or_is_no_order_code_is_listed_as_not_matched() {
    let parts = [
        "24C256",
        "24C16WP",
        "93LC46B-I/SN",
        "4G256",
        "24LC2567-I/SN",
        "Socket for 24LC64-I/SN",
        "24LC64-I/SN 24LC128-I/SN",
        "24C02-XYZ-RES-10K",
    ];
    let rows: Vec<String> = parts.iter().map(|part| format!("{part},1,1,active\n")).collect();
    let (_folder, run) = with_list(&format!("{HEADER}24fc256,1,1,active\n{}", rows.concat()), None, &["--json"]);
    let answer = run.json();
    let left = answer["stock"]["without_card"].as_array().unwrap();
    let left: Vec<&str> = left.iter().map(|row| row["part"].as_str().unwrap()).collect();
    assert_eq!(left, parts);
    assert_eq!((candidates(&answer), &answer["stock"]["read_as"]), (vec!["24fc256"], &serde_json::json!([])));
}

/// Two packages of one part are two candidates, each with its own row; the bare order code is a third.
#[test]
fn two_order_codes_of_one_card_are_two_candidates() {
    let two = "24LC256-I/SN,900,0.3,active\n24LC256-I/P,5,0.5,active\n";
    let (_folder, run) = with_list(&format!("{HEADER}24LC256,1,1,active\n{two}"), None, &["--json"]);
    let answer = run.json();
    let offers = &answer["boards"][0]["offers"];
    for (id, quantity) in [("24lc256", 1), ("24lc256-i-sn", 900), ("24lc256-i-p", 5)] {
        assert_eq!(offers[id]["quantity"], quantity, "{id}");
    }
    assert_eq!(answer["stock"]["without_card"], serde_json::json!([]));
    let judgements = answer["boards"][0]["judgements"].as_array().unwrap();
    let verdict = |id: &str| judgements.iter().find(|it| it["candidate"] == id).unwrap()["verdict"].clone();
    // The board has the narrow SOIC.
    assert_eq!((verdict("24lc256-i-p"), verdict("24lc256-i-sn")), ("rework".into(), "drop-in".into()));
    let list = "part,card,quantity,unit_price,state\n24LC256-I/SN,,900,0.3,active\n24LC256-I/P,24lc256,5,0.5,active\n";
    let (_folder, run) = with_list(list, None, &["--json"]);
    let offers = &run.json()["boards"][0]["offers"];
    assert_eq!((&offers["24lc256"]["quantity"], &offers["24lc256-i-sn"]["quantity"]), (&5.into(), &900.into()));
    let (_folder, run) = with_list(&format!("{HEADER}AT24C16D-SSHM-T,1,1,active\n"), None, &[]);
    assert!(run.err.contains("no row matches a card"), "a revision letter is not passed over: {}", run.err);
}

/// Reels and trays of one part, whose codes are not read to the end, are rows of one card: none is dropped.
#[test]
fn several_rows_of_one_card_are_all_kept_with_order_code_and_own_number() {
    let list = "part,own_number,quantity,unit_price,state\n24AA02E48T-I/OT,EE-1,10,0.2,active\n\
        24AA02E48-I/OT,EE-2,9000,0.3,active\n24AA02E48-I/SN,,4,0.1,active\n24AA02E48-I/OT,EE-7,5,0.3,active\n";
    let (_folder, run) = with_list(list, None, &["--all", "--json"]);
    let answer = run.json();
    let offers: Vec<&serde_json::Value> = answer["boards"][0]["offers"].as_object().unwrap().values().collect();
    let mut rows: Vec<(&str, &str)> = Vec::new();
    for offer in offers.iter().flat_map(|it| std::iter::once(*it).chain(it["also"].as_array().into_iter().flatten())) {
        rows.push((offer["part"].as_str().unwrap(), offer["number"].as_str().unwrap_or("")));
    }
    rows.sort_unstable();
    assert_eq!(
        rows,
        [("24AA02E48-I/OT", "EE-2"), ("24AA02E48-I/OT", "EE-7"), ("24AA02E48-I/SN", ""), ("24AA02E48T-I/OT", "EE-1")]
    );
    assert_eq!(answer["stock"]["without_card"], serde_json::json!([]));
}

/// A `card` column that names no card is a fault, whatever the part would be read as.
#[test]
fn a_wrong_card_column_is_not_mended_by_reading_the_part() {
    let list = "part,card,quantity,unit_price,state\n24LC256-I/SN,24lc2566,1,1,active\n";
    let (_folder, run) = with_list(list, None, &[]);
    assert!(run.code == 2 && run.err.contains("stock.csv:2: `card`: no card is called `24lc2566`"), "{}", run.err);
}

#[test]
fn the_text_tells_what_the_list_says() {
    let (_folder, run) = with_list(LIST, Some("currency = \"EUR\"\n"), &["--full"]);
    let words = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "900 in stock, 150 needed a year, active, more in 14 days, 0.30 EUR each, 45.00 EUR a year",
        "40 in stock, 150 needed a year",
        "no card matches `RES-10K-0603` (line 5)",
    ] {
        assert!(words.contains(part), "{part}: {}", run.out);
    }
}

#[test]
fn columns_words_marks_and_units_of_the_user_are_understood() {
    let list = "\u{FEFF}Artikel;Karte;Bestand;Preis;Lieferzeit;Status\n\
        EE-0031;at24c256c;5000;0,31;2;Serie\n\
        EE-0032;24lc64;200;1;;abgekündigt\n\
        EE-0033;;200;1;;Serie\n";
    let columns = "currency = \"EUR\"\ndelimiter = \";\"\ndecimal_mark = \",\"\nlead_time_in = \"weeks\"\n\
        [columns]\npart = \"Artikel\"\ncard = \"Karte\"\nquantity = \"Bestand\"\nunit_price = \"Preis\"\n\
        lead_time = \"Lieferzeit\"\nstate = \"Status\"\n\
        [states]\nactive = [\"Serie\"]\nobsolete = [\"Abgekündigt\"]\n";
    let (_folder, run) = with_list(list, Some(columns), &["--json"]);
    let answer = run.json();
    let offers = &answer["boards"][0]["offers"];
    assert_eq!(
        (&offers["at24c256c"]["lead_time_days"], &offers["at24c256c"]["unit_price"]),
        (&14.into(), &"0.31".into())
    );
    assert_eq!(offers["24lc64"]["state"], "obsolete");
    assert_eq!(answer["stock"]["without_card"][0]["part"], "EE-0033");
}

#[test]
fn every_bad_row_is_told_with_its_line() {
    let list = "part,quantity,unit_price,lead_time_days,state\n\
        24lc256,40,0.42,30,active\n\
        ,12.5,free,soon,unknown\n\
        24lc64,1,1,1\n\
        24LC256,1,1,1,active\n\
        24fc256,-1,-0.1,1,active\n\
        \"two\nlines\",1,0.1234567,1,active\n\
        24aa64,1,1,4294967296,active\n";
    let (_folder, run) = with_list(list, None, &[]);
    assert_eq!(run.code, 2);
    assert_eq!(run.out, "");
    for part in [
        "stock.csv:3: `part`: is empty",
        "stock.csv:3: `quantity`: `12.5` is not a whole number",
        "stock.csv:3: `unit_price`: `free` is not a price",
        "stock.csv:3: `lead_time_days`: `soon` is not a whole number of days",
        "stock.csv:3: `state`: `unknown` is not known",
        "stock.csv:4: has 4 cells, the first row 5",
        "stock.csv:6: `quantity`: `-1` is not a whole number",
        "stock.csv:6: `unit_price`: `-0.1` is not a price",
        "stock.csv:7: `unit_price`: `0.1234567` has more than six places",
        "stock.csv:9: `lead_time_days`: `4294967296` is not a whole number of days",
    ] {
        assert!(run.err.contains(part), "{part}:\n{}", run.err);
    }
    assert_eq!(run.err.lines().count(), 10, "{}", run.err);
}

#[test]
fn a_part_that_is_listed_twice_is_refused() {
    let list = "part,quantity,unit_price,state\n24lc256,1,1,active\n24LC256,1,1,active\n";
    let (_folder, run) = with_list(list, None, &[]);
    assert!(run.err.contains("stock.csv:3: `part`: `24LC256` is on line 2 already"), "{}", run.err);
}

#[test]
fn lists_and_column_files_that_make_no_sense_are_refused() {
    let good = "part,quantity,unit_price,state\n24lc256,1,1,active\n";
    for (list, columns, part) in [
        ("", None, "stock.csv: holds no row"),
        ("part,quantity\n24lc256,1\n", None, "stock.csv:1: `unit_price`: no such column"),
        ("part,quantity,unit_price,state\n", None, "stock.csv: holds no row"),
        ("part,quantity,unit_price,state\nresistor,1,1,active\n", None, "stock.csv: no row matches a card"),
        ("part,card,quantity,unit_price,state\nx,24lc999,1,1,active\n", None, "stock.csv:2: `card`: no card is called"),
        (good, Some("curency = \"EUR\"\n"), "columns.toml:1: `curency`: unknown field"),
        (good, Some("delimiter = \"x\"\n"), "columns.toml:1: `delimiter`: `x` is not known"),
        (good, Some("[columns]\npart = \"state\"\n"), "the column `state` stands for two things"),
        (good, Some("[states]\nactive = [\"obsolete\"]\n"), "`obsolete` means another state already"),
        (good, Some("[columns\n"), "columns.toml:1: not valid TOML"),
    ] {
        let (_folder, run) = with_list(list, columns, &[]);
        assert_eq!(run.code, 2, "{part}: {}", run.out);
        assert!(run.err.contains(part), "{part}: {}", run.err);
    }
}

/// Texts of a list are data: nothing in them steers the terminal.
#[test]
fn hostile_texts_of_a_list_stay_texts() {
    let list = "part,quantity,unit_price,state\n24lc256,1,1,active\n\u{1b}[31mred\u{202e},1,1,active\n";
    let (_folder, run) = with_list(list, Some("currency = \"\\u001b[2J\"\n"), &["--full"]);
    assert!(!run.out.contains("\u{1b}[31mred") && !run.out.contains('\u{202e}'), "{}", run.out);
    assert!(!run.out.contains("\u{1b}[2J"), "{}", run.out);
}

#[test]
fn a_list_with_other_bytes_than_text_is_a_message() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stock.csv");
    std::fs::write(&path, b"part,quantity,unit_price,state\n24lc256,1,1,active\n\xFF\xFE,1,1,active\n").unwrap();
    let run = run(&["swap", &example("valve-driver.toml"), "--stock", path.to_str().unwrap()]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("stock.csv:3: is not UTF-8"), "{}", run.err);
}

//! `pagewise parts` as a user runs it.

use crate::cli_support::{card, own_card, refused, run, write};
use pagewise_part::card::{Card, Catalogue, Kind};

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

fn ids(arguments: &[&str]) -> Vec<String> {
    let all: Vec<&str> = ["parts", "--json"].iter().chain(arguments).copied().collect();
    let run = run(&all);
    assert_eq!((run.code, run.err.as_str()), (0, ""), "{arguments:?}");
    let json = run.json();
    let parts = json["parts"].as_array().unwrap();
    assert_eq!(json["command"], "parts");
    assert_eq!(json["count"], parts.len());
    parts.iter().map(|part| part["id"].as_str().unwrap().to_owned()).collect()
}

fn expected(keep: impl Fn(&Card) -> bool) -> Vec<String> {
    catalogue().parts().filter(|card| keep(card)).map(|card| card.id.clone()).collect()
}

#[test]
fn without_filters_every_part_is_listed_once() {
    assert_eq!(ids(&[]), expected(|_| true));
    let generic = ids(&["--generic"]);
    assert!(!generic.is_empty() && generic.iter().all(|id| id.starts_with("any-")), "{generic:?}");
}

#[test]
fn every_filter_keeps_exactly_the_parts_that_match() {
    let some = |wanted: Vec<String>, arguments: &[&str]| {
        assert!(!wanted.is_empty(), "{arguments:?} should match something");
        assert_eq!(ids(arguments), wanted, "{arguments:?}");
    };
    for size in ["32k", "32kbit", "4096 bytes"] {
        some(expected(|card| card.capacity_bytes.value == 4096), &["--density", size]);
    }
    some(expected(|card| card.maker.contains("Rohm")), &["--maker", "rohm"]);
    some(expected(|card| card.kind == Kind::Eeprom && card.page_bytes.value == 64), &["--page", "64"]);
    some(expected(|card| card.word_address_bytes.value == 2), &["--address-bytes", "2"]);
    some(expected(|card| card.kind == Kind::Fram), &["--kind", "fram"]);
    some(expected(|card| card.write_min_mv.value <= 1800 && card.max_mv.value >= 1800), &["--supply", "1.8"]);
    some(expected(|card| card.speed.value.iter().any(|grade| grade.scl_khz >= 1000)), &["--scl", "1000"]);
    some(expected(|card| card.scl_khz_at(2500) >= 1000), &["--scl", "1000", "--supply", "2.5V"]);
    some(expected(|card| card.id.contains("at24c32") && card.maker.contains("Atmel")), &["AT24C32", "atmel"]);
}

#[test]
fn the_table_shows_sizes_both_ways_counts_and_marks_assumptions() {
    let run = run(&["parts", "--density", "32k"]);
    assert_eq!(run.code, 0);
    let cards: Vec<String> = expected(|card| card.capacity_bytes.value == 4096);
    assert!(run.out.contains("32 kbit = 4096 bytes"), "{}", run.out);
    let total = catalogue().parts().count();
    assert!(run.out.contains(&format!("\n{} of {total} parts\n", cards.len())), "{}", run.out);
    let row = run.out.lines().find(|line| line.trim_start().starts_with("24aa32 ")).unwrap();
    assert!(row.ends_with("15*"), "its sheet states no write cycle: {row}");
    assert!(run.out.contains("*: not stated in the sheet read"), "{}", run.out);
}

#[test]
fn nothing_found_is_an_answer() {
    let run = run(&["parts", "no-such-part"]);
    assert_eq!(run.code, 0);
    assert!(run.out.starts_with("no part matches; "), "{}", run.out);
    assert!(ids(&["no-such-part"]).is_empty());
}

#[test]
fn bad_filter_values_are_refused() {
    refused(&["parts", "--density", "32"], "could be bits or bytes");
    refused(&["parts", "--density", "33k"], "is not a power of two");
    refused(&["parts", "--density", "many"], "is not a density");
    refused(&["parts", "--page", "0"], "0 is not in 1..=65536");
    refused(&["parts", "--page", "x"], "invalid digit");
    refused(&["parts", "--address-bytes", "4"], "4 is not in 0..=3");
    refused(&["parts", "--supply", "24"], "supplies go from 0.5 V to 6.5 V");
    refused(&["parts", "--supply", "high"], "is not a supply");
    refused(&["parts", "--scl", "0"], "0 is not in 1..=5000");
}

#[test]
fn own_cards_join_the_list() {
    let folder = own_card(&card("\"OWN1\""));
    let path = folder.path().to_str().unwrap();
    assert_eq!(ids(&["--cards", path, "own1"]), ["own"]);
}

#[test]
fn all_faults_of_own_cards_come_at_once() {
    let folder = own_card(&card("\"OWN1\"").replace("page_bytes = 32", "page_bytes = 33\ncolour = \"red\""));
    write(folder.path(), "second.toml", "id = = \n");
    let run = run(&["parts", "--cards", folder.path().to_str().unwrap()]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let lines: Vec<&str> = run.err.lines().collect();
    assert!(
        lines.iter().any(|line| line.contains("own.toml:8: `page_bytes`: 33 is not a power of two")),
        "{}",
        run.err
    );
    assert!(lines.iter().any(|line| line.contains("own.toml:9: `colour`: unknown field")), "{}", run.err);
    assert!(lines.iter().any(|line| line.contains("second.toml:1: not valid TOML")), "{}", run.err);
}

#[test]
fn a_folder_without_cards_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    refused(&["parts", "--cards", folder.path().to_str().unwrap()], "holds no *.toml file");
    refused(&["parts", "--cards", "no/such/folder"], "no/such/folder: cannot be read");
}

#[test]
fn texts_of_own_cards_cannot_steer_the_terminal() {
    let folder = own_card(&card("\"\\u001b[31mred\\nline\\u202e\""));
    let path = folder.path().to_str().unwrap();
    for arguments in [["parts", "own", "--cards", path], ["show", "own", "--cards", path]] {
        let all: Vec<&str> = arguments.iter().chain(&["--color", "always"]).copied().collect();
        let run = run(&all);
        assert_eq!(run.code, 0, "{}", run.err);
        assert!(run.out.contains("?[31mred line?"), "{}", run.out);
        assert!(!run.out.contains('\u{202e}'), "{}", run.out);
    }
}

#[test]
fn parts_are_found_by_package_temperature_and_stock() {
    let in_package = ids(&["--package", "SOT23-5", "--density", "16k"]);
    assert!(in_package.contains(&"24lc16b".to_owned()), "{in_package:?}");
    // Its pins and address bits in this package were not all read.
    assert!(!ids(&["--package", "sot-23-6"]).contains(&"24lc014".to_owned()));
    assert!(!ids(&["--package", "soic-8"]).contains(&"at24c1024".to_owned()));
    let cold = ids(&["--temperature", "-40..85"]);
    let works = |card: &Card| card.temperature_min_c.value <= -40 && card.temperature_max_c.value >= 85;
    assert_eq!(cold, expected(works));
    assert!(cold.len() > 50 && !cold.contains(&"24c02a".to_owned()), "{}", cold.len());
    let folder = tempfile::tempdir().unwrap();
    write(
        folder.path(),
        "stock.csv",
        "part,quantity,unit_price,state\n24LC64,40,1,active\n24LC32A,0,1,active\nAT24C02D,1,1,active\n",
    );
    assert_eq!(ids(&["--stock", folder.path().join("stock.csv").to_str().unwrap()]), ["at24c02d", "24lc64"]);
    refused(&["parts", "--temperature", "85..-40"], "is not a range of temperatures");
    refused(&["parts", "--package", "bga-400"], "is not a footprint");
}

#[test]
fn a_new_card_is_written_from_the_declaration_and_read_when_it_is_filled_in() {
    let written = run(&["parts", "--new", "Own 64"]);
    assert_eq!((written.code, written.err.as_str()), (0, ""));
    for words in ["id = \"own-64\"", "name = \"Own 64\"", "# [[speed]]", "# Word-address bytes that follow"] {
        assert!(written.out.contains(words), "{words}: {}", written.out);
    }
    let folder = own_card(&written.out);
    let read = run(&["parts", "--cards", folder.path().to_str().unwrap()]);
    assert!(read.code == 2 && read.err.contains("own.toml:6: `capacity_bits`: 0 is out of range"), "{}", read.err);
    let mut filled = written.out.replace("capacity_bits = 0", "capacity_bits = 65536");
    for (field, value) in [("maker", "M"), ("document", "D"), ("kind", "eeprom")] {
        filled = filled.replace(&format!("{field} = \"\""), &format!("{field} = \"{value}\""));
    }
    for (place, bits) in [("as it is", "assumed"), ("# page_bytes = 32", "32 bytes")] {
        let folder = own_card(&filled.replace(place, place.trim_start_matches("# ")));
        let read = run(&["show", "own-64", "--cards", folder.path().to_str().unwrap()]);
        assert_eq!((read.code, read.err.as_str()), (0, ""), "{place}");
        let page = read.out.lines().find(|line| line.trim_start().starts_with("page ")).unwrap_or_default();
        assert!(page.contains(bits), "{place}: {page}");
    }
}

//! `pagewise show` as a user runs it, and its pictures for every card.

use crate::cli_support::{refused, run};
use clap::Parser;
use pagewise::command::values::{Straps, pin_levels};
use pagewise::command::{Program, Verb};
use pagewise_part::anatomy::Anatomy;
use pagewise_part::card::{Card, Catalogue, Package};

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

/// Every offset of a small part; around every boundary that is a power of two, and the end, of a large one.
fn offsets(card: &Card) -> Vec<u32> {
    let size = card.reachable_bytes();
    if size <= 2048 {
        return (0..size).collect();
    }
    let edges = (0..size.trailing_zeros()).map(|bit| 1u32 << bit).chain([card.page_bytes.value, size - 1, size / 2]);
    edges.flat_map(|edge| [edge - 1, edge, edge + 1]).filter(|offset| *offset < size).collect()
}

#[test]
fn the_picture_agrees_with_the_driver_for_every_card_strapping_and_offset() {
    let mut compared = 0;
    for card in catalogue().cards() {
        for levels in 0..8u8 {
            let pins = [0, 1, 2].map(|pin| levels >> pin & 1 == 1);
            if card.required_straps.iter().any(|(pin, high)| pins[usize::from(*pin)] != *high) {
                continue;
            }
            let geometry = card.geometry(pins).unwrap();
            for offset in offsets(card) {
                let drawn = Anatomy::of(card, pins, offset).unwrap();
                let sent = geometry.locate(offset);
                let mut header = vec![sent.device_address << 1];
                header.extend_from_slice(sent.header.as_bytes());
                assert_eq!(drawn.header(), header, "{} {offset:#x} {pins:?}", card.id);
                assert_eq!(drawn.device_read.value, header[0] | 1, "{} {offset:#x}", card.id);
                compared += 1;
            }
        }
    }
    assert!(compared > 100_000, "{compared} offsets compared");
}

#[test]
fn every_card_fits_eighty_columns() {
    let catalogue = catalogue();
    for card in catalogue.cards() {
        let last = (card.capacity_bytes.value - 1).to_string();
        for offset in ["0", last.as_str()] {
            let program = Program::try_parse_from(["pagewise", "show", &card.id, "--offset", offset]).unwrap();
            let Verb::Show(show) = &program.verb else { panic!("{:?}", program.verb) };
            let answer = show.answer(&catalogue, &program.options).unwrap();
            let text = anstream::adapter::strip_str(&answer.text).to_string();
            for line in text.lines() {
                assert!(textwrap::core::display_width(line) <= 80, "{}: {line}", card.id);
            }
            assert!(text.contains(&card.density()), "{}", card.id);
        }
    }
}

#[test]
fn default_straps_work_with_every_card() {
    for card in catalogue().cards() {
        assert!(pin_levels(card, Straps::default()).is_ok(), "{}", card.id);
    }
}

#[test]
fn a_block_select_part_is_drawn_bit_by_bit() {
    let run = run(&["show", "24LC16B", "--offset", "0x5a3"]);
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    let picture: Vec<&str> = run.out.lines().skip_while(|line| !line.starts_with("START")).take(8).collect();
    let expected = [
        "START",
        "                ┌───┬───┬───┬───┬───┬───┬───┬───┐",
        "device address  │ 1 │ 0 │ 1 │ 0 │B2 │B1 │B0 │ W │     0xaa: 0x55 and W",
        "                │ 1 │ 0 │ 1 │ 0 │ 1 │ 0 │ 1 │ 0 │ ACK",
        "                ├───┼───┼───┼───┼───┼───┼───┼───┤",
        "word address    │a7 │a6 │a5 │a4 │a3 │a2 │a1 │a0 │     0xa3: bits 7 to 0",
        "                │ 1 │ 0 │ 1 │ 0 │ 0 │ 0 │ 1 │ 1 │ ACK",
        "                └───┴───┴───┴───┴───┴───┴───┴───┘",
    ];
    assert_eq!(picture, expected);
    assert!(run.out.contains("B0 is offset bit 8"), "{}", run.out);
}

#[test]
fn dont_care_bits_and_straps_are_drawn() {
    let run = run(&["show", "at24c32e", "--offset", "291", "--straps", "a0=vcc,a2=vcc"]);
    assert!(run.out.contains("│ 1 │ 0 │ 1 │ 0 │A2 │A1 │A0 │ W │     0xaa: 0x55 and W"), "{}", run.out);
    assert!(run.out.contains("│ x │ x │ x │ x │a11│a10│a9 │a8 │     0x01: bits 15 to 8"), "{}", run.out);
    assert!(run.out.contains("x: don't care, sent as 0"), "{}", run.out);
}

#[test]
fn json_has_the_card_and_its_anatomy() {
    let run = run(&["show", "at24c32e", "--offset", "0x123", "--json"]);
    let json = run.json();
    assert_eq!(json["command"], "show");
    assert_eq!(json["card"]["page_bytes"]["value"], 32);
    assert_eq!(json["card"]["page_bytes"]["basis"], "published");
    assert_eq!(json["device_address"], 0x50);
    assert_eq!(json["anatomy"]["device_write"]["value"], 0xA0);
    assert_eq!(json["anatomy"]["word_address"][0]["value"], 0x01);
    assert_eq!(json["anatomy"]["word_address"][0]["bits"][0]["role"], "x");
    assert_eq!(json["anatomy"]["room_in_page"], 29);
}

#[test]
fn a_package_changes_the_roles() {
    let listed = catalogue();
    let special = listed.parts().find_map(|card| {
        let usual = card.address_bits.value.map(Some);
        let special = |package: &&Package| package.address_is_read() && package.address_bits != usual;
        let package = card.packages.list.iter().find(special)?;
        Some((card.id.clone(), package.footprint, package.address_bits.map(Option::unwrap)))
    });
    let (id, footprint, bits) = special.expect("some card has a package with roles of its own");
    let run = run(&["show", &id, "--package", footprint.word(), "--json"]);
    let shown: Vec<String> = bits.iter().map(ToString::to_string).collect();
    let json = run.json();
    assert_eq!(json["card"]["address_bits"]["value"], serde_json::json!(shown), "{id}");
    assert_eq!(json["package_listed"], true);
}

#[test]
fn bad_input_is_refused_with_what_to_do() {
    refused(&["show", "at24c32e", "--offset", "4096"], "offsets 0 to 0xfff");
    refused(&["show", "at24c32e", "--offset", "0x10z"], "is not an offset");
    refused(&["show", "at24c32x"], "did you mean at24c32");
    refused(&["show", "zzzzzzzz"], "`pagewise parts` lists all cards");
    refused(&["show", "\u{1b}[31m"], "no card is called `?[31m`");
    refused(&["show", "at24c32e", "--straps", "a0=high"], "is not a level");
    refused(&["show", "at24c32e", "--straps", "a3=gnd"], "is not an address pin");
    refused(&["show", "24aa1025", "--straps", "a2=gnd"], "write a2=vcc");
    refused(&["show", "24lc32a", "--straps", "a0=open"], "reads as anything");
    refused(&["show", "at24c32e", "--package", "bga-400"], "is not a footprint");
}

#[test]
fn endurance_is_shown_at_every_temperature_that_the_sheet_states() {
    let flat = |part: &str| run(&["show", part]).out.split_whitespace().collect::<Vec<_>>().join(" ");
    for value in ["10 000 000 cycles at 25 C", "1 000 000 cycles at 85 C", "300 000 cycles at 105 C"] {
        assert!(flat("s-24cs01a").contains(value), "{value}");
    }
    assert!(flat("24lc256").contains("1 000 000 cycles at 25 C"));
    assert!(!flat("24lc128").contains("cycles at "));
}

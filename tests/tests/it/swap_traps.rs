//! Swaps that look drop-in and are not: published pairs, each on a board that notices it. The documents stand in
//! `data/packages.toml`, `data/more-parts.toml` and `data/datasheets.toml`, under the parts named here.
//!
//! Each trap is sprung by one fact of a card. With that fact taken away the finding must be gone, or the trap was never
//! this one.

use std::sync::Arc;

use pagewise_base::form::word;
use pagewise_judge::board::{Board, Strap};
use pagewise_judge::swap::{Judgement, Verdict, judge};
use pagewise_part::card::{Card, Catalogue, Footprint, RegionKind, Role, Span, UpperBits};
use pagewise_part::fact::{Basis, Fact};
use pagewise_part::marking::Reader;

use crate::trade_facts::board;

/// What a trap changes on the board.
type OnBoard = fn(&mut Board);
/// Takes away the fact that springs it: of the fitted part's card, of the candidate's.
type Without = fn(&Card, &mut Card);
/// Fitted part, candidate, footprint, what the board has otherwise, rule and words of its finding, without which fact.
type Trap = (&'static str, &'static str, &'static str, OnBoard, &'static str, &'static str, Without);

fn stated<T>(value: T) -> Fact<T> {
    Fact { value, basis: Basis::Published { document: "taken away".into() } }
}

/// The candidate has the pins of the fitted part in every package.
fn same_pins(old: &Card, new: &mut Card) {
    new.packages = old.packages.clone();
}

fn protects_all(_: &Card, new: &mut Card) {
    (new.wp_pin, new.protect_range) = (true, stated(Span::All));
    Arc::make_mut(&mut new.packages).list.iter_mut().for_each(|package| package.wp_pin = Some(true));
}

fn runs_at_5v(_: &Card, new: &mut Card) {
    new.max_mv = stated(5500);
}

/// A board that keeps its contents with WP at the supply, and only reads them.
fn relies_on_wp(board: &mut Board) {
    board.wp = Strap::Vcc;
    board.regions.iter_mut().for_each(|region| region.writes_per_day = 0.0);
}

fn at_5v(board: &mut Board) {
    board.bus.supply_mv = 5000;
}

fn as_it_is(_: &mut Board) {}

const TRAPS: &[Trap] = &[
    ("24lc00", "24lc01b", "sot-23-5", as_it_is, "footprint", "VCC on pin 5", same_pins),
    ("at24c64d", "24lc64", "tssop-8", as_it_is, "footprint", "its order code is that of tssop-8", |_, new| {
        Arc::make_mut(&mut new.packages).list.retain(|package| package.footprint != Footprint::Tssop8Rotated);
    }),
    // Pin 3 goes from not connected to A2: a board that left it open has an open address pin.
    (
        "at24c256",
        "24lc256",
        "soic-8",
        |board| board.straps[2] = Strap::Open,
        "straps",
        "A2 is open",
        |_, new| {
            new.address_bits.value[0] = Role::Ignored;
            Arc::make_mut(&mut new.packages)
                .list
                .iter_mut()
                .for_each(|package| package.address_bits[0] = Some(Role::Ignored));
        },
    ),
    ("at24c02c", "at24c02d", "soic-8", at_5v, "supply", "3.6 V", runs_at_5v),
    ("at24c32d", "at24c32e", "soic-8", at_5v, "supply", "3.6 V", runs_at_5v),
    ("24lc02b", "24aa02e48", "sot-23-5", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("24lc024", "24lc025", "soic-8", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("24lc02b", "24lc02bh", "soic-8", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("24lc64", "24lc64f", "soic-8", relies_on_wp, "lost-protection", "keeps stray writes out", protects_all),
    // In E grade 100 kHz below 4.5 V.
    (
        "24lc1026",
        "24LC1026-E",
        "soic-8",
        |board| board.bus.scl_khz = 400,
        "scl-rate",
        "100 kHz",
        |_, new| {
            new.speed.value.iter_mut().for_each(|grade| grade.scl_khz = 400);
        },
    ),
    // The automotive grade 1 of it needs 2.5 V: the name alone says nothing of 1.8 V.
    (
        "24aa16",
        "at24c16c",
        "soic-8",
        |board| board.bus.supply_mv = 1800,
        "supply",
        "it works at 1.8 V",
        |_, new| {
            (new.read_min_mv, new.write_min_mv, new.max_mv) = (stated(1700), stated(1700), stated(5500));
        },
    ),
    // Pin 7 is not connected.
    ("34lc02", "34aa04", "soic-8", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("at34c02d", "at34c04", "soic-8", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("34lc02", "34aa04", "soic-8", at_5v, "supply", "3.6 V", runs_at_5v),
    // X11 and its sisters have no lock for good.
    (
        "s524a40x10",
        "s524a60x51",
        "soic-8",
        |board| board.uses = vec![RegionKind::PermanentProtection],
        "second-region",
        "permanent-protection",
        |old, new| {
            new.regions.clone_from(&old.regions);
            new.regions.iter_mut().for_each(|region| region.address_read = true);
        },
    ),
    ("nm24c17", "nm24c16", "soic-8", relies_on_wp, "lost-protection", "lies open", protects_all),
    ("24lc08b", "s-24c08c", "sot-23-5", as_it_is, "footprint", "the part is made in", same_pins),
    (
        "s-24c08d",
        "s-24c08c",
        "soic-8",
        |board| board.bus.scl_khz = 1000,
        "scl-rate",
        "400",
        |_, new| {
            new.speed.value.iter_mut().for_each(|grade| grade.scl_khz = 1000);
        },
    ),
    // TSSOP of 14 leads only.
    ("24lc256", "hn58x24256i", "tssop-8", as_it_is, "footprint", "the part is made in tssop-14", same_pins),
    ("24lc256", "x24256", "tssop-8", as_it_is, "footprint", "the part is made in", same_pins),
    ("24lc08b", "pcf8598c-2", "dip-8", as_it_is, "footprint", "WP on pin 1", same_pins),
    (
        "24lc01b",
        "pca8581c",
        "dip-8",
        |board| board.temperature_min_c = Some(-40.0),
        "temperature",
        "-25",
        |_, new| {
            new.temperature_min_c = stated(-40);
        },
    ),
    // The C of PCA8581C is a supply range.
    ("24lc01b", "pca8581", "dip-8", as_it_is, "supply", "4.5", |_, new| {
        (new.read_min_mv, new.write_min_mv) = (stated(2500), stated(2500));
    }),
    // 8-byte pages behind one suffix, 32 behind others.
    (
        "is24c02a",
        "hn58x2402s",
        "soic-8",
        |board| board.regions[0].length = 32,
        "page",
        "page is 8",
        |old, new| {
            new.page_bytes = old.page_bytes.clone();
        },
    ),
    // 5.0 x 6.2 mm, and a TSSOP of 4.9 mm over leads.
    ("24lc128", "BR24G128F-3A", "soic-8", as_it_is, "footprint", "made in sop-8-5x6.2mm", same_pins),
    ("24lc128", "BR24G128FVJ-3A", "tssop-8", as_it_is, "footprint", "made in tssop-8-3x4.9mm", same_pins),
    // Pins 1 to 3 as A0 to A2 in one issue of its sheet, not connected in the other.
    ("24lc02b", "bl24c02a", "soic-8", as_it_is, "footprint", "its device address", |_, new| {
        Arc::make_mut(&mut new.packages)
            .list
            .iter_mut()
            .for_each(|package| package.address_bits = [Some(Role::Ignored); 3]);
    }),
    // One name: an edition from 2.2 V and 0 C, another from 1.8 V and -40 C; the narrower one counts.
    (
        "24lc08b",
        "ht24lc08",
        "dip-8",
        |board| board.temperature_min_c = Some(-40.0),
        "temperature",
        "0 to 70",
        |_, new| {
            (new.temperature_min_c, new.temperature_max_c) = (stated(-40), stated(125));
        },
    ),
];

fn says(judgement: &Judgement, rule: &str, words: &str) -> bool {
    let mut of_rule = judgement.findings.iter().filter(|finding| finding.rule == rule);
    of_rule.any(|finding| {
        let proviso = finding.proviso.as_ref().map(|proviso| proviso.text.as_str()).unwrap_or_default();
        finding.compared.contains(words) || proviso.contains(words)
    })
}

#[test]
fn no_published_pair_that_looks_drop_in_is_one() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = |id: &str| catalogue.find(id).unwrap_or_else(|| panic!("no card {id}")).clone();
    let mut through = Vec::new();
    for (fitted, candidate, footprint, change, rule, words, without) in TRAPS {
        let (old, mut new) = (card(fitted), card(candidate));
        let footprint = word::read::<Footprint>(footprint).unwrap();
        let mut board = Board { footprint, ..board(&old, 16) };
        change(&mut board);
        let judgement = judge(&board, &old, &new);
        if judgement.verdict == Verdict::DropIn && judgement.provided_that.is_empty() {
            through.push(format!("{fitted} -> {candidate}: plain drop-in"));
        }
        if !says(&judgement, rule, words) {
            through.push(format!("{fitted} -> {candidate}: {rule} does not say `{words}`: {:#?}", judgement.findings));
        }
        without(&old, &mut new);
        // Without some facts there is no chip to judge.
        let whole = new.chip_model().check().is_ok();
        if whole && says(&judge(&board, &old, &new), rule, words) {
            through.push(format!("{fitted} -> {candidate}: {rule} says so without the fact"));
        }
    }
    assert!(through.is_empty(), "{} of {}:\n{}", through.len(), TRAPS.len(), through.join("\n"));
}

/// FM24C64: a Fairchild EEPROM and a Ramtron FRAM. BR24G256: -3, -3A and -5 behind one base number. HN58X2402: pages of 8
/// bytes or 32 by the suffix.
#[test]
fn a_name_that_stands_for_several_parts_is_none_of_them() {
    let catalogue = Catalogue::embedded().unwrap();
    let reader = Reader::new(&catalogue);
    for name in ["FM24C64", "BR24G256", "HN58X2402", "NM24W16", "24LC64X"] {
        assert!(catalogue.find(name).is_none(), "{name}");
        assert_eq!(reader.order_code(name), None, "{name}");
    }
    let families = reader.read("FM24C64").pieces[0].families.len();
    assert_eq!(families, 2, "EEPROM and FRAM");
    assert!(reader.read("BR24G256").pieces[0].matches.len() > 1);
}

/// 24XX65, DS21073K: a first word-address byte with its top bit set is the security command, which cannot be undone.
#[test]
fn a_board_that_sends_one_address_byte_is_warned_of_the_command_that_cannot_be_undone() {
    let catalogue = Catalogue::embedded().unwrap();
    let (old, new) = (catalogue.find("24lc16b").unwrap(), catalogue.find("24lc65").unwrap());
    let judgement = judge(&Board { footprint: Footprint::Dip8, ..board(old, 16) }, old, new);
    assert!(says(&judgement, "address-width", "a command that cannot be undone"), "{:#?}", judgement.findings);
    let plain = Card { upper_address_bits: stated(UpperBits::Ignored), ..new.clone() };
    let judgement = judge(&Board { footprint: Footprint::Dip8, ..board(old, 16) }, old, &plain);
    assert!(!says(&judgement, "address-width", "a command that cannot be undone"));
}

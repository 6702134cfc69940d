//! A board that does not work with its fitted part either: said of the board, and not held against the candidate; and
//! remedies that together are a board on which the candidate serves.

use std::sync::Arc;

use pagewise_judge::board::{Board, Strap, Wait};
use pagewise_judge::swap::{Agreement, Fitted, Judgement, Verdict, judge};
use pagewise_part::card::{Card, Catalogue, Role};
use pagewise_part::fact::{Basis, Fact};
use proptest::prelude::*;

use super::boards::{made_up, swaps};
use super::search::{counterexample, scaled};

fn board() -> Board {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards");
    let mut board = pagewise_judge::board::read(&std::path::Path::new(folder).join("valve-driver.toml")).unwrap();
    board.firmware.page_bytes = 32;
    board.firmware.wait = Wait::Poll { limit_us: 20_000 };
    board
}

fn part(id: &str) -> Card {
    Catalogue::embedded().unwrap().find(id).unwrap().clone()
}

fn stated<T>(value: T) -> Fact<T> {
    Fact { value, basis: Basis::Published { document: "made up".into() } }
}

/// The part with other roles of its low address bits, in every package.
fn composed(mut card: Card, id: &str, bits: [Role; 3]) -> Card {
    card.id = id.into();
    card.address_bits.value = bits;
    Arc::make_mut(&mut card.packages).list.iter_mut().for_each(|package| package.address_bits = bits.map(Some));
    card
}

/// What a board does that its fitted part does not take, and the rule that says so.
type Fault = (&'static str, fn(&mut Board));

const FAULTS: [Fault; 11] = [
    ("scl-rate", |board| board.bus.scl_khz = 3_000),
    ("pull-up", |board| board.bus.pull_up_ohm = 47_000),
    ("device-address", |board| board.firmware.device_address = 0x57),
    ("address-width", |board| board.firmware.word_address_bytes = 1),
    ("page", |board| board.firmware.page_bytes = 256),
    ("write-cycle", |board| board.firmware.wait = Wait::Fixed { us: 100 }),
    ("write-protect", |board| board.wp = Strap::Vcc),
    ("temperature", |board| board.temperature_max_c = Some(150.0)),
    ("endurance", |board| board.regions[0].writes_per_day = 1_000_000.0),
    ("supply", |board| board.bus.supply_mv = 6_400),
    ("capacity", |board| board.regions.last_mut().unwrap().length = 60_000),
];

#[test]
fn what_the_board_has_today_is_not_held_against_the_candidate() {
    let old = part("at24c64d");
    let mut new = old.clone();
    new.id = "other".into();
    for (rule, spoil) in FAULTS {
        let mut board = board();
        spoil(&mut board);
        let fitted = Fitted::new(&board, &old);
        assert!(fitted.today().has(rule), "{rule}: {:#?}", fitted.today());
        assert!(fitted.today().agree != Agreement::Disagree, "{rule}");
        for candidate in [&old, &new] {
            let judgement = fitted.judge(candidate);
            assert_eq!(judgement.verdict, Verdict::DropIn, "{rule}: {:#?}", judgement.findings);
            assert!(judgement.agree != Agreement::Disagree, "{rule}");
            let excused: Vec<_> = judgement.findings.iter().filter(|finding| finding.with_fitted).collect();
            assert!(excused.iter().any(|finding| finding.rule == rule), "{rule}: {:#?}", judgement.findings);
        }
    }
    assert!(Fitted::new(&board(), &old).today().findings.is_empty());
}

#[test]
fn a_candidate_that_is_worse_than_the_fault_of_today_is_not_excused() {
    let old = part("at24c64d");
    type Worsen = fn(&mut Card);
    let worse: [(&str, Worsen); 6] = [
        ("scl-rate", |card| card.speed.value.iter_mut().for_each(|grade| grade.scl_khz = 50)),
        ("write-cycle", |card| card.write_cycle_max_us = stated(50_000)),
        ("page", |card| card.page_bytes.value = 16),
        ("temperature", |card| card.temperature_max_c = stated(70)),
        ("endurance", |card| card.endurance_cycles.value /= 2),
        ("supply", |card| card.max_mv.value -= 100),
    ];
    for (rule, spoil) in worse {
        let (mut board, mut new) = (board(), old.clone());
        new.id = "worse".into();
        FAULTS.iter().find(|(of, _)| *of == rule).unwrap().1(&mut board);
        spoil(&mut new);
        let judgement = judge(&board, &old, &new);
        assert!(judgement.verdict > Verdict::DropIn, "{rule}: {:#?}", judgement.findings);
        assert!(judgement.agree != Agreement::Disagree, "{rule}");
    }
}

/// Where a package is not made, or a stray write gets in, nothing of the fitted part is an excuse.
#[test]
fn a_package_that_neither_is_made_in_is_not_excused() {
    let old = part("at24c64d");
    let mut new = old.clone();
    new.id = "other".into();
    let mut board = board();
    board.footprint = pagewise_part::card::Footprint::Tssop20;
    let fitted = Fitted::new(&board, &old);
    assert!(fitted.today().has("footprint"));
    assert_eq!((fitted.judge(&new).verdict, fitted.judge(&old).verdict), (Verdict::Rework, Verdict::DropIn));
}

/// On any board, however much is wrong with it.
#[test]
fn a_part_in_the_place_of_itself_is_a_drop_in() {
    let cards = made_up(Catalogue::embedded().unwrap().cards());
    let itself = swaps(&cards).prop_map(|swap| super::boards::Swap { new: swap.old, ..swap });
    let found = counterexample("itself", scaled(3000), &itself, |swap| {
        let judgement = judge(&swap.board, &cards[swap.old], &cards[swap.old]);
        let sound = judgement.verdict == Verdict::DropIn && judgement.agree != Agreement::Disagree;
        if sound { Ok(()) } else { Err(super::agreement::findings(&judgement, &cards[swap.old], &cards[swap.new])) }
    });
    assert!(found.is_none(), "{}", found.unwrap_or_default());
}

/// Every complete new state is run: on random boards, whatever has to change, the candidate serves with it.
#[test]
fn all_remedies_together_are_a_board_on_which_the_candidate_serves() {
    let cards = made_up(Catalogue::embedded().unwrap().cards());
    let met = std::cell::Cell::new((0, 0));
    let found = counterexample("remedies", scaled(3000), &swaps(&cards), |swap| {
        // Where the fitted part itself meets another device there is no state of today to go on from: rules and runs may
        // mend such a board in two ways.
        let today = Fitted::new(&swap.board, &cards[swap.old]);
        if today.today().has("address-conflict") {
            return Ok(());
        }
        let judgement = judge(&swap.board, &cards[swap.old], &cards[swap.new]);
        let usable = [Verdict::Reconfigure, Verdict::Rework].contains(&judgement.verdict);
        let (all, told) = met.get();
        met.set((all + u32::from(usable), told + u32::from(usable && !judgement.then.is_empty())));
        let serves = judgement.evidence.changed.as_ref().is_none_or(|run| run.serves);
        if serves && judgement.agree != Agreement::Disagree {
            Ok(())
        } else {
            Err(super::agreement::findings(&judgement, &cards[swap.old], &cards[swap.new]))
        }
    });
    assert!(found.is_none(), "{}", found.unwrap_or_default());
    let (all, told) = met.get();
    assert!(all > 300 && told * 10 > all * 7, "{told} of {all} say the complete new state");
}

fn then(judgement: &Judgement) -> Vec<String> {
    judgement.then.iter().map(|setting| format!("{}: {}", setting.what, setting.then)).collect()
}

/// The fitted part ignores its pins; the candidate compares them and would meet another device.
#[test]
fn no_remedy_names_an_address_that_is_taken() {
    let fixed = |bits: [bool; 3]| composed(part("at24c64d"), "fixed", bits.map(Role::Fixed));
    let old = fixed([false, true, false]);
    let new = part("24lc64");
    let mut board = board();
    board.bus.other_addresses = vec![0x50, 0x51];
    board.firmware.device_address = 0x52;
    let judgement = judge(&board, &old, &new);
    assert_eq!((judgement.verdict, judgement.agree), (Verdict::Rework, Agreement::Agree));
    assert_eq!(then(&judgement), ["strap A1: vcc"]);
    for finding in &judgement.findings {
        assert!(!finding.remedy.contains("0x50") && !finding.remedy.contains("0x51"), "{}", finding.remedy);
    }
    board.bus.other_addresses = vec![0x50, 0x52];
    board.firmware.device_address = 0x53;
    let old = fixed([false, true, true]);
    let judgement = judge(&board, &old, &new);
    assert_eq!(judgement.agree, Agreement::Agree);
    assert_eq!(then(&judgement), ["device address: 0x51", "strap A0: vcc"]);
}

/// "A pin of the controller, driven by the firmware as needed": needed is the level with which the part answers, also
/// where the part compares the pin the other way round.
#[test]
fn a_driven_address_pin_has_the_level_that_the_part_needs() {
    let old = part("at24c64d");
    for driven in 0..3 {
        let mut bits = old.address_bits.value;
        bits[2 - driven] = Role::PinInverted(driven as u8);
        let new = composed(old.clone(), "inverted", bits);
        for address in 0x50..=0x57 {
            let mut board = board();
            board.firmware.device_address = address;
            for pin in 0..3 {
                board.straps[pin] = if address >> pin & 1 == 1 { Strap::Vcc } else { Strap::Gnd };
            }
            board.straps[driven] = Strap::Gpio;
            let judgement = judge(&board, &old, &new);
            assert_eq!(
                (judgement.verdict, judgement.agree),
                (Verdict::DropIn, Agreement::Agree),
                "A{driven} {address:#x}"
            );
            // Tied, it answers elsewhere.
            board.straps[driven] = if address >> driven & 1 == 1 { Strap::Vcc } else { Strap::Gnd };
            let judgement = judge(&board, &old, &new);
            assert_eq!((judgement.verdict, judgement.agree), (Verdict::Reconfigure, Agreement::Agree));
        }
    }
}

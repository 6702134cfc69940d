//! The property tests can fail: a program with one flaw is caught on every card on which the flaw can do harm, the same
//! program without a flaw is not.

use pagewise_part::card::Catalogue;
use pagewise_tests::naive::{Flaw, program};
use pagewise_tests::operations::scenarios;
use pagewise_tests::property::holds;
use pagewise_tests::search::{counterexample, found, scaled};
use pagewise_tests::seat::Seat;

fn caught_on_every_card(flaw: Flaw) {
    let catalogue = Catalogue::embedded().unwrap();
    let harmed = catalogue.cards().iter().filter(|card| flaw.matters(&Seat::new(card, 0, 0).geometry));
    let mut tried = 0;
    for card in harmed {
        let property = |scenario: &_| holds(card, scenario, |seat, s, bus, delay| program(flaw, seat, s, bus, delay));
        assert!(found(&card.id, 400, &scenarios(12), property), "{flaw:?} goes unnoticed on {}", card.id);
        tried += 1;
    }
    println!("{flaw:?} caught on {tried} cards");
    assert!(tried > 0);
}

#[test]
fn the_program_without_a_flaw_passes() {
    for card in Catalogue::embedded().unwrap().cards() {
        let property =
            |scenario: &_| holds(card, scenario, |seat, s, bus, delay| program(Flaw::None, seat, s, bus, delay));
        let found = counterexample(&card.id, scaled(6), &scenarios(12), property);
        assert!(found.is_none(), "{}", found.unwrap_or_default());
    }
}

#[test]
fn w1_ignoring_page_ends_is_caught() {
    caught_on_every_card(Flaw::IgnoresPages);
}

#[test]
fn w1_a_page_taken_for_twice_as_large_is_caught() {
    caught_on_every_card(Flaw::PageTooLarge);
}

#[test]
fn b2_dropping_block_select_bits_is_caught() {
    caught_on_every_card(Flaw::DropsBlockBits);
}

#[test]
fn b4_one_word_address_byte_too_few_is_caught() {
    caught_on_every_card(Flaw::ByteTooFew);
}

#[test]
fn b4_one_word_address_byte_too_many_is_caught() {
    caught_on_every_card(Flaw::ByteTooMany);
}

#[test]
fn w7_not_waiting_for_the_write_cycle_is_caught() {
    caught_on_every_card(Flaw::NoPolling);
}

#[test]
fn w4_header_and_data_in_two_writes_is_caught() {
    caught_on_every_card(Flaw::TwoWrites);
}

#[test]
fn r3_reading_over_block_ends_is_caught() {
    caught_on_every_card(Flaw::IgnoresReadBlocks);
}

#[test]
fn ignoring_the_longest_transfer_is_caught() {
    caught_on_every_card(Flaw::IgnoresLimit);
}

#[test]
fn a_forgotten_byte_is_caught() {
    caught_on_every_card(Flaw::LosesLastByte);
}

#[test]
fn a_counterexample_is_shrunk_to_one_operation() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc32a").unwrap();
    let flaw = Flaw::IgnoresPages;
    let property = |scenario: &_| holds(card, scenario, |seat, s, bus, delay| program(flaw, seat, s, bus, delay));
    let text = counterexample("shrunk", 400, &scenarios(12), property).unwrap();
    println!("{text}");
    let first_line = text.lines().next().unwrap();
    assert!(first_line.contains("operation 0"), "{text}");
}

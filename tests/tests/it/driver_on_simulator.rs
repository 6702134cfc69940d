//! Whatever is asked from the driver, on every card and with every habit of a HAL: the simulated part holds what a plain
//! byte array holds, no detector reports anything, and every operation ends in bounded time.

use pagewise_part::card::{Card, Catalogue};
use pagewise_tests::operations::{NACKS, scenarios};
use pagewise_tests::property::{driver, holds};
use pagewise_tests::search::{counterexample, scaled, seed};
use proptest::prelude::*;
use proptest::sample::select;

#[test]
fn w1_to_r4_every_card_equals_a_byte_array_under_any_sequence_of_operations() {
    println!("seed {:#x}", seed());
    let catalogue = Catalogue::embedded().unwrap();
    let search =
        |card: &Card| counterexample(&card.id, scaled(24), &scenarios(12), |scenario| holds(card, scenario, driver));
    let wrong: Vec<String> = catalogue.cards().iter().filter_map(search).collect();
    assert!(wrong.is_empty(), "{} cards fail:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn any_card_equals_a_byte_array_with_every_kind_of_missing_ack() {
    let catalogue = Catalogue::embedded().unwrap();
    let cards: Vec<_> = catalogue.cards().to_vec();
    for nack in NACKS {
        let strategy = (select(cards.clone()), scenarios(20)).prop_map(move |(card, mut scenario)| {
            scenario.nack = nack;
            scenario.fixed_wait = false;
            (Named(card), scenario)
        });
        let name = format!("{nack:?}");
        let found = counterexample(&name, scaled(200), &strategy, |(card, scenario)| holds(&card.0, scenario, driver));
        assert!(found.is_none(), "{}", found.unwrap_or_default());
    }
}

/// A card of which a counterexample shows the name only.
#[derive(Clone)]
struct Named(Card);

impl std::fmt::Debug for Named {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.id)
    }
}

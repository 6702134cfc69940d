//! The simulated chip of every card against the second model of a chip that the simulator's own tests bring, on random
//! traffic.

#[allow(dead_code)]
#[path = "../../../simulator/tests/it/common.rs"]
mod common;
#[allow(dead_code)]
#[path = "../../../simulator/tests/it/comparison.rs"]
mod comparison;
#[path = "../../../simulator/tests/it/reference.rs"]
mod reference;

use comparison::{difference, stretch};
use pagewise_part::card::Catalogue;
use proptest::prelude::*;
use proptest::strategy::ValueTree;

#[test]
fn the_chip_of_every_card_agrees_with_the_reference() {
    let mut runner = proptest::test_runner::TestRunner::new(common::cases(1));
    let programs = (any::<u64>(), prop::collection::vec(stretch(), 1..24));
    let catalogue = Catalogue::embedded().unwrap();
    for card in catalogue.cards() {
        for _ in 0..20 {
            let (seed, stretches) = programs.new_tree(&mut runner).unwrap().current();
            assert_eq!(difference(&card.chip_model(), seed, &stretches), None, "{}", card.id);
        }
    }
}

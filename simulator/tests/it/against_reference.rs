//! The chip against a second model of it that shares no code, over every axis.

use crate::common::*;
use crate::comparison::{Both, Stretch, difference, stretch};
use pagewise_simulator::ChipModel;
use proptest::prelude::*;

proptest! {
    #![proptest_config(cases(1500))]

    #[test]
    fn random_traffic_agrees_with_the_reference(
        model in any_model(), seed: u64, stretches in prop::collection::vec(stretch(), 1..24),
    ) {
        prop_assert_eq!(difference(&model, seed, &stretches), None);
    }
}

#[test]
fn random_traffic_agrees_with_the_reference_on_parts_of_every_shape() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::new(cases(1));
    let programs = (any::<u64>(), prop::collection::vec(stretch(), 1..24));
    for model in eeproms().into_iter().chain([fram()]) {
        for _ in 0..60 {
            let (seed, stretches) = programs.new_tree(&mut runner).unwrap().current();
            assert_eq!(difference(&model, seed, &stretches), None);
        }
    }
}

#[test]
fn the_reference_notices_another_part() {
    // One axis changed behind its back: some program must show it.
    use pagewise_simulator::model::{PointerAfterWrite, ReadBlockBits};
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::new(cases(1));
    let programs = (any::<u64>(), prop::collection::vec(stretch(), 20..30));
    let changes: [fn(&mut ChipModel); 5] = [
        |m| m.page *= 2,
        |m| m.read_wrap /= 2,
        |m| m.pointer_after_write = PointerAfterWrite::LastPlusOne,
        |m| m.read_block_bits = ReadBlockBits::Latched,
        |m| m.write_cycle.max_ns -= 1_000_000,
    ];
    for (number, change) in changes.iter().enumerate() {
        let (right, mut wrong) = (ChipModel::example_16_kbit(), ChipModel::example_16_kbit());
        change(&mut wrong);
        let seen = (0..300).any(|_| {
            let (seed, stretches) = programs.new_tree(&mut runner).unwrap().current();
            mixed(&right, &wrong, seed, &stretches)
        });
        assert!(seen, "change {number} goes unnoticed");
    }
}

/// Whether a chip of one model differs from the reference of another.
fn mixed(right: &ChipModel, wrong: &ChipModel, seed: u64, stretches: &[Stretch]) -> bool {
    let (mut both, chip) = Both::new(right, wrong, seed);
    stretches.iter().any(|stretch| both.step(right, chip, stretch).is_some())
}

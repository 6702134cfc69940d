//! Whole runs of bytes at once (trace off) are the same as byte by byte (trace on).

use crate::common::*;
use crate::programs::{Seen, Step, run, step};
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::PointerAfterWrite;
use pagewise_simulator::{ChipModel, CycleTime, PowerUp, Rig, RigConfig, Straps};
use proptest::prelude::*;

/// Runs the steps; between them, a device at another address is read and nobody is asked.
fn run_with_visits(rig: &Rig, model: &ChipModel, steps: &[Step]) -> Vec<Seen> {
    let mut bus = rig.bus();
    let mut seen = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        let mut got = vec![0; 2];
        if index % 3 == 2 {
            let done = bus.read(OTHER, &mut got);
            seen.push((done.err().map(|error| error.to_string()), got.clone(), rig.now_ns()));
        }
        if index % 4 == 3 {
            let calls =
                [bus.write(NOBODY, &[1, 2, 3]), bus.write_read(NOBODY, &[0], &mut got), bus.read(NOBODY, &mut got)];
            let errors = calls.map(|call| format!("{call:?}")).concat();
            seen.push((Some(errors), got, rig.now_ns()));
        }
        seen.extend(run(rig, &mut bus, model, std::slice::from_ref(step)));
    }
    seen
}

/// Address of a device that is not a memory; no model here answers it.
const OTHER: u8 = 0x1E;

/// An address that mostly nobody answers.
const NOBODY: u8 = 0x2A;

const CYCLE: u64 = 4_000_000;

fn models() -> Vec<ChipModel> {
    let mut last_plus_one = ChipModel::example_16_kbit();
    last_plus_one.pointer_after_write = PointerAfterWrite::LastPlusOne;
    last_plus_one.read_wrap = 256;
    vec![ChipModel::example_32_kbit(), last_plus_one, ChipModel::example_2_kbit(), block_bit_on_top(), other_code()]
}

fn rig_for(model: &ChipModel, image: &[u8], trace: bool) -> (Rig, pagewise_simulator::ChipId) {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(image.to_vec()));
    rig.set_write_cycle(chip, CycleTime::Exact(CYCLE));
    rig.set_trace(trace);
    (rig, chip)
}

/// A neighbour, which answers elsewhere or, next to a part that fills its range, together with it.
fn with_neighbour(rig: &Rig) {
    rig.attach(ChipModel::example_2_kbit(), Straps::address(5));
    rig.attach_other(OTHER, "sensor");
}

proptest! {
    #![proptest_config(cases(192))]

    #[test]
    fn fast_and_slow_path_agree(index in 0..5_usize, steps in prop::collection::vec(step(), 1..40)) {
        let model = &models()[index];
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(model, &image, false);
        let (slow, slow_chip) = rig_for(model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, model, &steps), run_with_visits(&slow, model, &steps));
        fast.advance_ns(CYCLE);
        slow.advance_ns(CYCLE);
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    #[test]
    fn fast_and_slow_path_agree_on_every_axis(model in any_model(), steps in prop::collection::vec(step(), 1..40)) {
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(&model, &image, false);
        let (slow, slow_chip) = rig_for(&model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, &model, &steps), run_with_visits(&slow, &model, &steps));
        for rig in [&fast, &slow] {
            rig.advance_ns(2_000_000_000);
        }
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }

    #[test]
    fn fast_and_slow_path_agree_on_a_part_with_too_low_a_supply(
        model in any_model(), steps in prop::collection::vec(step(), 1..40), write_only: bool,
    ) {
        let mut model = model;
        model.supply.write_min_mv = 4000;
        model.supply.read_min_mv = if write_only { 1000 } else { 4000 };
        let image = pattern(model.capacity as usize);
        let (fast, fast_chip) = rig_for(&model, &image, false);
        let (slow, slow_chip) = rig_for(&model, &image, true);
        with_neighbour(&fast);
        with_neighbour(&slow);
        prop_assert_eq!(run_with_visits(&fast, &model, &steps), run_with_visits(&slow, &model, &steps));
        prop_assert_eq!(first_difference(&fast.memory(fast_chip), &slow.memory(slow_chip)), None);
        prop_assert_eq!(fast.finish(), slow.finish());
    }
}

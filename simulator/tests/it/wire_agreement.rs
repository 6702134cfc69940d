//! Rule L7: byte level and wire level give the same memory, trace and time for every legal program.

use crate::common::*;
use crate::programs::{Seen, run, step};
use pagewise_simulator::model::AcLimits;
use pagewise_simulator::{ChipModel, CycleTime, EventKind, Hazard, PowerUp, Rig, RigConfig, Straps, WireConfig};
use proptest::prelude::*;

/// Whether any timing limit was not kept.
fn violates_timing(rig: &Rig) -> bool {
    rig.trace().iter().any(|event| matches!(event.kind, EventKind::Timing { .. }))
}

fn rig_for(model: &ChipModel, hz: u32, seed: u64) -> (Rig, pagewise_simulator::ChipId) {
    let rig = Rig::new(RigConfig::default().with_scl_hz(hz).with_seed(seed));
    let image = pattern(model.capacity as usize);
    let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(image));
    rig.attach_other(0x48, "sensor");
    rig.set_write_cycle(chip, CycleTime::Drawn);
    (rig, chip)
}

proptest! {
    #![proptest_config(cases(96))]

    #[test]
    fn l7_byte_level_and_wire_level_agree_on_every_axis(
        model in any_model(), hz in prop::sample::select(vec![100_000, 400_000, 1_000_000]),
        seed in any::<u64>(), steps in prop::collection::vec(step(), 1..16),
    ) {
        let (byte, byte_chip) = rig_for(&model, hz, seed);
        let (wire, wire_chip) = rig_for(&model, hz, seed);
        let expected = run(&byte, &mut byte.bus(), &model, &steps);
        let mut bus = wire.bit_bang(WireConfig::IDEAL);
        prop_assert_eq!(run(&wire, &mut bus, &model, &steps), expected);
        prop_assert_eq!(wire.now_ns(), byte.now_ns());
        prop_assert_eq!(wire.trace(), byte.trace());
        for rig in [&wire, &byte] {
            rig.advance_ns(2_000_000_000);
        }
        prop_assert_eq!(first_difference(&wire.memory(wire_chip), &byte.memory(byte_chip)), None);
    }

    #[test]
    fn l7_real_edges_change_no_byte(index in 0..8_usize, steps in prop::collection::vec(step(), 1..12)) {
        let model = &eeproms()[index];
        let (byte, byte_chip) = rig_for(model, 100_000, 1);
        let (wire, wire_chip) = rig_for(model, 100_000, 1);
        for (rig, chip) in [(&byte, byte_chip), (&wire, wire_chip)] {
            rig.set_write_cycle(chip, CycleTime::Exact(1_000));
        }
        // Rising lines take their time; how long a program takes is another matter than what it does.
        let untimed = |seen: Vec<Seen>| seen.into_iter().map(|(error, got, _)| (error, got)).collect::<Vec<_>>();
        let expected = untimed(run(&byte, &mut byte.bus(), model, &steps));
        let config = WireConfig { mode: Some(AcLimits::STANDARD), rise_max_ns: 1000, ..WireConfig::TYPICAL };
        let mut bus = wire.bit_bang(config);
        prop_assert_eq!(untimed(run(&wire, &mut bus, model, &steps)), expected);
        prop_assert!(!violates_timing(&wire));
        prop_assert!(wire.finish().iter().all(|incident| incident.hazard != Hazard::BusTiming));
        for rig in [&wire, &byte] {
            rig.advance_ns(200_000_000);
        }
        prop_assert_eq!(first_difference(&wire.memory(wire_chip), &byte.memory(byte_chip)), None);
    }
}

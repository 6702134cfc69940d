//! The controller step by step is the same controller: equal trace, memory and time as whole transactions.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::{
    AdjacentWrites, BusFault, ChipModel, CycleTime, Hazard, Quirks, Rig, RigConfig, StepBus, Straps,
};
use proptest::collection::vec;
use proptest::prelude::*;

/// One transfer: device address, then writes and reads.
#[derive(Debug, Clone)]
enum Part {
    Write(Vec<u8>),
    Read(usize),
}

fn rig(model: &ChipModel) -> Rig {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(model.clone(), Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Max);
    rig
}

/// The transfer as a whole. A new START before every part but adjacent reads, as the steps below do it.
fn whole(rig: &Rig, address: u8, parts: &[Part]) -> bool {
    let mut buffers: Vec<Vec<u8>> =
        parts.iter().map(|part| if let Part::Read(n) = part { vec![0; *n] } else { vec![] }).collect();
    let mut operations: Vec<Operation<'_>> = parts
        .iter()
        .zip(&mut buffers)
        .map(|(part, buffer)| match part {
            Part::Write(bytes) => Operation::Write(bytes),
            Part::Read(_) => Operation::Read(buffer),
        })
        .collect();
    let quirks = Quirks { adjacent_writes: AdjacentWrites::Restart, ..Quirks::default() };
    rig.bus_with(quirks).transaction(address, &mut operations).is_ok()
}

fn stepped(bus: &mut StepBus, address: u8, parts: &[Part]) -> bool {
    let done = steps(bus, address, parts);
    bus.stop().is_ok() && done
}

fn steps(bus: &mut StepBus, address: u8, parts: &[Part]) -> bool {
    for (i, part) in parts.iter().enumerate() {
        let (read, before) = (matches!(part, Part::Read(_)), i.checked_sub(1).map(|i| &parts[i]));
        let goes_on = read && matches!(before, Some(Part::Read(_)));
        if !goes_on && (bus.start().is_err() || !bus.send(address << 1 | u8::from(read))) {
            return false;
        }
        match part {
            Part::Write(bytes) => {
                if bytes.iter().any(|byte| !bus.send(*byte)) {
                    return false;
                }
            }
            Part::Read(count) => {
                let more = matches!(parts.get(i + 1), Some(Part::Read(_)));
                for n in 0..*count {
                    bus.receive(more || n + 1 < *count);
                }
            }
        }
    }
    true
}

fn parts() -> impl Strategy<Value = Vec<Part>> {
    let part = prop_oneof![vec(any::<u8>(), 0..40).prop_map(Part::Write), (1_usize..40).prop_map(Part::Read)];
    vec(part, 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn steps_and_transactions_give_the_same_trace_memory_and_time(
        kind in 0_usize..3,
        transfers in vec((0x4F_u8..0x5A, parts(), 0_u64..8_000_000), 1..8),
    ) {
        let models = [ChipModel::example_2_kbit(), ChipModel::example_16_kbit(), ChipModel::example_32_kbit()];
        let (one, other) = (rig(&models[kind]), rig(&models[kind]));
        let mut bus = other.bus().steps();
        for (address, parts, pause) in &transfers {
            prop_assert_eq!(whole(&one, *address, parts), stepped(&mut bus, *address, parts));
            one.advance_ns(*pause);
            other.advance_ns(*pause);
            prop_assert_eq!(one.now_ns(), other.now_ns());
        }
        prop_assert_eq!(one.trace(), other.trace());
    }
}

#[test]
fn l5_a_stop_while_the_chip_drives_a_zero_is_a_held_line() {
    let rig = rig(&ChipModel::example_32_kbit());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    rig.load(chip, 0, &[0xFF, 0x00, 0x00]);
    let mut bus = rig.bus().steps();
    rig.bus().write(0x51, &[0, 0]).unwrap();
    bus.start().unwrap();
    assert!(bus.send(0x51 << 1 | 1));
    assert_eq!(bus.receive(true), 0xFF);
    assert_eq!(bus.stop().unwrap_err().fault, BusFault::SdaHeld);
    assert_eq!(bus.start().unwrap_err().fault, BusFault::SdaHeld);
    rig.bus().recover();
    bus.start().unwrap();
    assert!(bus.send(0x51 << 1));
    bus.stop().unwrap();
    assert!(rig.finish().iter().any(|incident| incident.hazard == Hazard::StuckBus));
}

#[test]
fn w7_polling_by_steps_is_no_hazard_and_a_dropped_write_is() {
    for (polls, expected) in [(true, false), (false, true)] {
        let rig = rig(&ChipModel::example_32_kbit());
        let mut bus = rig.bus().steps();
        assert!(stepped(&mut bus, 0x50, &[Part::Write(vec![0, 0, 1])]));
        if polls {
            while !stepped(&mut bus, 0x50, &[Part::Write(vec![0, 0])]) {}
        } else {
            bus.start().unwrap();
            assert!(!bus.send(0x50 << 1));
            bus.stop_after(0x50, &[Operation::Write(&[0, 1, 2])], false).unwrap();
        }
        rig.advance_ns(5_000_000);
        assert_eq!(rig.finish().iter().any(|incident| incident.hazard == Hazard::BusyAccess), expected);
    }
}

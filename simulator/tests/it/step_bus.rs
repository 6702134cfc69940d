//! The controller step by step is the same controller: equal trace, memory and time as whole transactions.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::{ByteRange, ProtectedAnswer};
use pagewise_simulator::{
    AdjacentWrites, BusFault, ChipModel, CycleTime, Hazard, Level, Quirks, Rig, RigConfig, StepBus, Straps,
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
                let run = parts[i + 1..]
                    .iter()
                    .map_while(|part| if let Part::Read(count) = part { Some(count) } else { None });
                let more = run.into_iter().any(|count| *count > 0);
                for n in 0..*count {
                    bus.receive(more || n + 1 < *count);
                }
            }
        }
    }
    true
}

fn parts() -> impl Strategy<Value = Vec<Part>> {
    let part = prop_oneof![vec(any::<u8>(), 0..40).prop_map(Part::Write), (0_usize..40).prop_map(Part::Read)];
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

/// A device address and bytes whatever is acknowledged, as a program without error handling sends them.
fn send_blindly(bus: &mut StepBus, bytes: &[u8]) {
    bus.start().unwrap();
    for byte in bytes {
        let _ = bus.send(*byte);
    }
}

/// In the write cycle of a first byte; a second chip sits at 0x51.
fn busy() -> Rig {
    let rig = rig(&ChipModel::example_32_kbit());
    rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    rig.bus().write(0x50, &[0, 0, 1]).unwrap();
    rig
}

fn told(rig: &Rig) -> Vec<String> {
    rig.finish().into_iter().map(|incident| incident.text).collect()
}

#[test]
fn w7_what_was_sent_by_steps_to_a_busy_part_and_given_up_is_told() {
    let given_up = |what: &str| {
        let start = format!("example-32k: {what} refused ");
        move |texts: Vec<String>| texts.len() == 1 && texts[0].starts_with(&start)
    };
    let rig = busy();
    let mut bus = rig.bus().steps();
    send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
    bus.stop().unwrap();
    assert!(given_up("write of 3 byte(s), header included,")(told(&rig)));

    // A read, of which every byte was asked for.
    let rig = busy();
    let mut bus = rig.bus().steps();
    send_blindly(&mut bus, &[0xA1]);
    let read = [0; 5].map(|_| bus.receive(true));
    bus.stop().unwrap();
    assert_eq!(read, [0xFF; 5]);
    assert!(given_up("read of 5 byte(s)")(told(&rig)));

    // The transfer goes on at another part: the access to the first one is over.
    let rig = busy();
    let mut bus = rig.bus().steps();
    send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
    send_blindly(&mut bus, &[0xA2, 0, 0]);
    bus.stop().unwrap();
    assert!(given_up("write of 3 byte(s), header included,")(told(&rig)));

    // A header, or nothing, is a poll.
    for bytes in [&[0xA0, 0, 0x20][..], &[0xA0]] {
        let rig = busy();
        let mut bus = rig.bus().steps();
        send_blindly(&mut bus, bytes);
        bus.stop().unwrap();
        assert_eq!(told(&rig), [] as [String; 0]);
    }
}

#[test]
fn w7_what_was_refused_and_sent_again_by_steps_is_not_given_up() {
    let repeats = |between: fn(&Rig, &mut StepBus)| {
        let rig = busy();
        let mut bus = rig.bus().steps();
        send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
        bus.stop().unwrap();
        rig.advance_ns(5_000_000);
        between(&rig, &mut bus);
        bus.set_client(0);
        send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
        bus.stop().unwrap();
        rig.advance_ns(5_000_000);
        told(&rig).len()
    };
    let other = |rig: &Rig, bus: &mut StepBus| {
        send_blindly(bus, &[0xA0, 0, 0x40, 9]);
        bus.stop().unwrap();
        rig.advance_ns(5_000_000);
    };
    assert_eq!(repeats(|_, _| {}), 0);
    assert_eq!(repeats(other), 1, "something else was done in between");
    let of_another_client = |rig: &Rig, bus: &mut StepBus| {
        bus.set_client(1);
        send_blindly(bus, &[0xA0, 0, 0x40, 9]);
        bus.stop().unwrap();
        rig.advance_ns(5_000_000);
    };
    assert_eq!(repeats(of_another_client), 0);
    let elsewhere = |_: &Rig, bus: &mut StepBus| {
        send_blindly(bus, &[0xA2, 0, 0]);
        bus.stop().unwrap();
    };
    assert_eq!(repeats(elsewhere), 0, "nobody was asked at the address");
}

/// An answered access that failed says nothing about the one that was refused.
#[test]
fn w7_an_access_that_failed_ends_no_other_one() {
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.answer = ProtectedAnswer::NackData;
    model.write_protect.pin_range = ByteRange { start: 0x800, len: 0x800 };
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(model, Straps::GROUND.with_wp(Level::High));
    rig.set_write_cycle(chip, CycleTime::Max);
    let mut bus = rig.bus().steps();
    send_blindly(&mut bus, &[0xA0, 0, 0, 1]);
    bus.stop().unwrap();
    send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
    bus.stop().unwrap();
    rig.advance_ns(5_000_000);
    bus.start().unwrap();
    assert!(bus.send(0xA0) && bus.send(8) && bus.send(0) && !bus.send(9), "data for a protected place");
    bus.stop().unwrap();
    send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
    bus.stop().unwrap();
    assert!(!rig.finish().iter().any(|incident| incident.hazard == Hazard::BusyAccess));
}

#[test]
fn l5_a_controller_that_is_reset_leaves_a_read_where_it_is() {
    for (bits, held) in [(0, true), (3, true), (4, false)] {
        let rig = rig(&ChipModel::example_32_kbit());
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
        rig.load(chip, 0, &[0x0F, 0xFF]);
        rig.bus().write(0x51, &[0, 0]).unwrap();
        let mut bus = rig.bus().steps();
        bus.start().unwrap();
        assert!(bus.send(0x51 << 1 | 1));
        bus.abandon(bits);
        assert_eq!(bus.start().is_err(), held, "{bits} bits of 0x0F");
        bus.abandon(0);
    }
    // Outside of a read nobody notices, and what was begun is forgotten.
    let rig = busy();
    let mut bus = rig.bus().steps();
    send_blindly(&mut bus, &[0xA0, 0, 0x20, 7]);
    bus.abandon(0);
    assert!(!bus.send(0xA0), "no START before it");
}

/// A START that was not possible is followed by a STOP that is not possible either.
#[test]
fn l5_a_held_line_stays_held_until_the_bus_is_recovered() {
    let rig = rig(&ChipModel::example_32_kbit());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
    rig.load(chip, 0, &[0x00]);
    rig.bus().write(0x51, &[0, 0]).unwrap();
    let mut bus = rig.bus().steps();
    bus.start().unwrap();
    assert!(bus.send(0x51 << 1 | 1));
    let began = rig.now_ns();
    let held = Err(BusFault::SdaHeld);
    for _ in 0..2 {
        assert_eq!(bus.start().map_err(|error| error.fault), held);
        assert_eq!(bus.stop().map_err(|error| error.fault), held);
    }
    assert_eq!(rig.now_ns(), began);
    rig.bus().recover();
    assert!(bus.start().is_ok() && bus.stop().is_ok());
}

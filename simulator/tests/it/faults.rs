//! Faults, and wear past the rating (rule P4).

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::WearUnit;
use pagewise_simulator::{
    BusFault, ChipId, ChipModel, CycleTime, Fault, FaultKind, Faults, Hazard, Ratio, Rig, RigConfig, Straps,
    SupplyProfile, TornModel,
};

fn script(script: &[Fault]) -> Faults {
    Faults { script: script.to_vec(), ..Faults::default() }
}

#[test]
fn a_chosen_byte_is_not_acknowledged_and_nothing_is_stored() {
    for byte in 0..6 {
        let bench = e32();
        bench.rig.set_faults(script(&[Fault::Nack { byte }])).unwrap();
        let error = bench.write(0x10, &[1, 2, 3]).unwrap_err();
        let expected = if byte == 0 { BusFault::AddressNack } else { BusFault::DataNack { byte: byte as usize - 1 } };
        assert_eq!(error.fault, expected);
        bench.wait();
        assert_eq!(bench.memory()[0x10..0x13], [0xFF; 3]);
        assert_eq!(bench.rig.fault_hits().len(), 1);
        bench.store(0x10, &[1, 2, 3]);
        assert_eq!(bench.memory()[0x10..0x13], [1, 2, 3]);
    }
}

#[test]
fn a_byte_is_flipped_on_the_bus_both_ways() {
    let bench = e32();
    bench.rig.set_faults(script(&[Fault::Flip { byte: 3, mask: 0x81 }])).unwrap();
    bench.store(0, &[0x10]);
    assert_eq!(bench.memory()[0], 0x91);
    bench.rig.clear_faults();
    assert_eq!(bench.read(0, 1), [0x91]);
    bench.rig.set_faults(script(&[Fault::Flip { byte: 4, mask: 0x01 }])).unwrap();
    assert_eq!(bench.read(0, 1), [0x90]);
    assert_eq!(bench.rig.fault_hits().iter().map(|hit| hit.kind).collect::<Vec<_>>(), [FaultKind::Flip; 2]);
}

#[test]
fn a_write_is_acknowledged_and_does_not_stick() {
    let bench = e32();
    bench.rig.set_faults(script(&[Fault::WriteDoesNotStick { chip: bench.chip, cycle: 1 }])).unwrap();
    bench.store(0, &[1]);
    bench.store(1, &[2]);
    bench.store(2, &[3]);
    assert_eq!(bench.memory()[..3], [1, 0xFF, 3]);
}

#[test]
fn a_cycle_is_longer_than_the_part_says_or_never_ends() {
    let bench = e32();
    let long = Fault::LongCycle { chip: bench.chip, cycle: 0, lasts_ns: 20_000_000 };
    let never = Fault::LongCycle { chip: bench.chip, cycle: 1, lasts_ns: u64::MAX };
    bench.rig.set_faults(script(&[long, never])).unwrap();
    bench.write(0, &[1]).unwrap();
    bench.rig.advance_ns(19_999_999);
    assert!(bench.rig.busy(bench.chip));
    bench.rig.advance_ns(1);
    assert!(!bench.rig.busy(bench.chip));
    bench.write(0, &[2]).unwrap();
    bench.rig.advance_ns(pagewise_simulator::time::END_NS / 2);
    assert!(bench.rig.busy(bench.chip));
}

#[test]
fn bits_flip_at_rest_and_heal_when_written_but_stuck_bits_stay() {
    let bench = e32();
    bench.store(0, &[0x0F, 0x0F]);
    let chip = bench.chip;
    let flip = Fault::RestFlip { chip, offset: 0, mask: 0x81 };
    let stuck = Fault::StuckBits { chip, offset: 1, mask: 0x01, value: 0 };
    bench.rig.set_faults(script(&[flip, stuck])).unwrap();
    assert_eq!(bench.read(0, 2), [0x8E, 0x0E]);
    assert_eq!(bench.memory()[..2], [0x0F, 0x0F], "memory below the overlay is pristine");
    assert_eq!(bench.rig.memory_as_read(chip)[..2], [0x8E, 0x0E]);
    bench.store(0, &[0x0F, 0x0F]);
    assert_eq!(bench.read(0, 2), [0x0F, 0x0E]);
    bench.rig.clear_faults();
    assert_eq!(bench.read(0, 2), [0x0F, 0x0F], "the fault was an overlay");
}

/// A bit that flips twice is as it was; of two values at which a bit is stuck the later one counts.
#[test]
fn faults_of_one_cell_add_up_bit_by_bit() {
    let bench = e32();
    let chip = bench.chip;
    bench.rig.load(chip, 0, &[0b0011_0101, 0b0000_1111]);
    let flip = |mask| Fault::RestFlip { chip, offset: 0, mask };
    let stuck = |mask, value| Fault::StuckBits { chip, offset: 1, mask, value };
    let both = [flip(0b1111_0000), flip(0b0011_1100), stuck(0b1111_0000, 0b0101_1111), stuck(0b0011_1100, 0b1110_1011)];
    bench.rig.set_faults(script(&both)).unwrap();
    assert_eq!(bench.read(0, 2), [0b1111_1001, 0b0110_1011]);
}

/// Half of the pages take twice as long, the same ones each time, and one page lies whether it is slow or not.
#[test]
fn shares_of_slow_and_of_lying_pages_are_drawn_apart() {
    let bench = e32();
    let half = Ratio::new(1, 2);
    bench.rig.set_faults(Faults { seed: 3, lie: half, long: half, ..Faults::default() }).unwrap();
    bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(1_000));
    let slow = || -> Vec<bool> {
        let of_page = |page: u32| {
            bench.write(page * 32, &[1]).unwrap();
            bench.rig.advance_ns(1_000);
            let slow = bench.rig.busy(bench.chip);
            bench.rig.advance_ns(1_000);
            assert!(!bench.rig.busy(bench.chip));
            slow
        };
        (0..128).map(of_page).collect()
    };
    let first = slow();
    assert_eq!(slow(), first);
    let memory = bench.memory();
    for kind in [(false, false), (false, true), (true, false), (true, true)] {
        let count = (0..128).filter(|page| (first[*page], memory[page * 32] == 0xFF) == kind).count();
        // A lying page is not slow: one fault takes effect in a cycle.
        let expected = if kind == (true, true) { 0..1 } else { 10..90 };
        assert!(expected.contains(&count), "{kind:?}: {count} of 128 pages");
    }
}

#[test]
fn a_line_held_low_stops_the_controller_for_a_while() {
    for fault in
        [Fault::SdaLow { from_ns: 100_000, until_ns: 200_000 }, Fault::SclLow { from_ns: 100_000, until_ns: 200_000 }]
    {
        let bench = e32();
        bench.rig.set_faults(script(&[fault])).unwrap();
        bench.rig.advance_ns(100_000);
        assert_eq!(bench.write(0, &[]).unwrap_err().fault, BusFault::SdaHeld);
        // Given up after nine clocks at 400 kHz.
        assert_eq!(bench.rig.now_ns(), 100_000 + 9 * 2_500);
        bench.rig.advance_ns(100_000);
        bench.write(0, &[]).unwrap();
    }
}

#[test]
fn seeded_faults_are_the_same_at_the_same_place() {
    let run = |seed: u64| {
        let bench = e32();
        let faults = Faults { seed, lie: Ratio::new(1, 3), nack: Ratio::new(1, 50), ..Faults::default() };
        bench.rig.set_faults(faults).unwrap();
        let mut results = Vec::new();
        for round in 0..2 {
            for page in 0..32 {
                results.push(bench.write(page * 32, &[round]).is_ok());
                bench.wait();
            }
        }
        (results, bench.memory())
    };
    assert_eq!(run(5), run(5));
    assert_ne!(run(5), run(6));
    // A page that lies does so each time.
    let memory = run(5).1;
    let lying = (0..32).filter(|page| memory[page * 32] == 0xFF).count();
    assert!((3..25).contains(&lying), "{lying}");
}

/// Acknowledge bits of bytes that another device takes, and what is read where nobody drives.
fn drawn_on_the_bus(faults: Faults) -> (Vec<bool>, Vec<u8>) {
    let rig = Rig::new(RigConfig::default());
    rig.attach_other(0x1E, "sensor");
    let mut bus = rig.bus().steps();
    bus.start().unwrap();
    bus.send(0x1E << 1);
    rig.set_faults(faults.clone()).unwrap();
    let acks = (0..64).map(|_| bus.send(0)).collect();
    bus.start().unwrap();
    bus.send(0x2A << 1 | 1);
    rig.set_faults(faults).unwrap();
    (acks, (0..64).map(|_| bus.receive(true)).collect())
}

#[test]
fn faults_of_bytes_are_drawn_apart_for_each_kind_and_seed() {
    let (mut nacks, mut flips) = (std::collections::BTreeSet::new(), std::collections::BTreeSet::new());
    let (half, mut flipped_bits) = (Ratio::new(1, 2), 0);
    for seed in (0..16).map(|bit| 1 << bit).chain([0]) {
        let (acks, read) = drawn_on_the_bus(Faults { seed, nack: half, ..Faults::default() });
        assert_eq!(read, [0xFF; 64], "a byte that is read cannot be missed");
        let (_, read) = drawn_on_the_bus(Faults { seed, flip: half, ..Faults::default() });
        assert!(read.iter().all(|byte| byte.count_zeros() <= 1), "one bit of a byte: {read:02X?}");
        flipped_bits |= read.iter().fold(0, |bits, byte| bits | !byte);
        let flipped: Vec<bool> = read.iter().map(|byte| *byte != 0xFF).collect();
        for drawn in [&acks, &flipped] {
            let count = drawn.iter().filter(|hit| **hit).count();
            assert!((16..48).contains(&count), "{count} of 64");
        }
        assert_ne!(acks.iter().map(|acked| !acked).collect::<Vec<_>>(), flipped);
        assert!(nacks.insert(acks) && flips.insert(flipped), "seed {seed} draws as an earlier one");
    }
    assert_eq!(flipped_bits, 0xFF, "any bit");
}

#[test]
fn a_script_with_an_unknown_place_is_refused_and_changes_nothing() {
    let bench = e32();
    let other = Rig::default();
    other.attach(ChipModel::example_2_kbit(), Straps::GROUND);
    let second: ChipId = other.attach(ChipModel::example_2_kbit(), Straps::address(1));
    let bad = [
        (Fault::WriteDoesNotStick { chip: second, cycle: 0 }, "the rig has 1"),
        (Fault::RestFlip { chip: bench.chip, offset: 4096, mask: 1 }, "4096"),
    ];
    for (fault, why) in bad {
        let error = bench.rig.set_faults(script(&[fault])).unwrap_err().to_string();
        assert!(error.starts_with("fault at an unknown place: ") && error.contains(why), "{error}");
    }
    bench.store(0, &[1]);
    assert_eq!(bench.memory()[0], 1);
}

#[test]
fn p5_supply_ramp_the_chip_answers_after_its_power_up_time() {
    let rig = Rig::new(RigConfig::default().with_supply_mv(0));
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.set_supply_profile(&SupplyProfile::new().ramp(1_000_000, 3_000_000, 0, 3300));
    assert_eq!(rig.bus().write(0x50, &[0, 0]).unwrap_err().fault, BusFault::NoSupply);
    rig.advance_ns(2_100_000);
    // 1700 mV are reached at about 2.03 ms, power-up takes 1 ms.
    assert_eq!(rig.bus().write(0x50, &[0, 0]).unwrap_err().fault, BusFault::AddressNack);
    rig.advance_ns(1_000_000);
    rig.bus().write(0x50, &[0, 0]).unwrap();
    assert!(!rig.busy(chip));
}

#[test]
fn p4_past_the_rating_cells_stick_or_forget() {
    let mut model = ChipModel::example_32_kbit();
    model.wear_unit = WearUnit::Page;
    model.endurance_cycles = 1000;
    let bench = Bench::new(model);
    bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(1));
    for round in 0..999_u32 {
        bench.store(0, &[round as u8; 4]);
    }
    assert_eq!(bench.read(0, 4), [(998 % 256) as u8; 4], "up to the rating nothing happens");
    let mut wrong = 0;
    for round in 0..400_u32 {
        bench.store(0, &[round as u8; 4]);
        wrong += usize::from(bench.read(0, 4) != [round as u8; 4]);
    }
    assert!(wrong > 50, "{wrong}");
    assert_eq!(bench.hazards(), [Hazard::WearOut, Hazard::WearOut]);
}

#[test]
fn p3_a_cycle_that_changes_nothing_cannot_be_torn() {
    let bench = e32();
    bench.rig.set_torn_model(TornModel::New, 0);
    bench.rig.set_faults(script(&[Fault::WriteDoesNotStick { chip: bench.chip, cycle: 0 }])).unwrap();
    bench.write(0, &[1]).unwrap();
    bench.rig.power_cycle();
    assert_eq!(bench.memory()[0], 0xFF);
    assert!(bench.hazards().is_empty());
}

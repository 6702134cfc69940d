//! Faults, supply profiles, torn pages (rule P3), wear past the rating (rule P4).

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{TornScope, WearUnit};
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

/// A page of 0x00 is overwritten with 0x5A and the supply goes at `permille` of the cycle.
fn torn(model: ChipModel, torn: TornModel, permille: u64, draw: u64) -> Bench {
    let bench = Bench::new(model);
    bench.rig.load(bench.chip, 0, &[0x0F; 96]);
    bench.rig.set_torn_model(torn, draw);
    bench.write(36, &[0x5A; 8]).unwrap();
    let cycle = bench.model.write_cycle.max_ns;
    bench.rig.advance_ns(cycle * permille / 1000);
    bench.rig.power_cycle();
    bench
}

#[test]
fn p3_old_new_and_prefix() {
    let model = ChipModel::example_32_kbit;
    assert_eq!(torn(model(), TornModel::Old, 999, 0).memory()[36..44], [0x0F; 8]);
    assert_eq!(torn(model(), TornModel::New, 1, 0).memory()[36..44], [0x5A; 8]);
    let half = torn(model(), TornModel::Prefix, 500, 0).memory();
    assert_eq!(half[36..44], [0x5A, 0x5A, 0x5A, 0x5A, 0x0F, 0x0F, 0x0F, 0x0F]);
}

#[test]
fn p3_subset_reaches_every_mixture_of_old_and_new_bytes() {
    let mut seen = std::collections::BTreeSet::new();
    for draw in 0..2000 {
        let memory = torn(ChipModel::example_32_kbit(), TornModel::Subset, 500, draw).memory();
        assert!(memory[36..44].iter().all(|byte| [0x0F, 0x5A].contains(byte)));
        seen.insert(memory[36..44].iter().fold(0, |bits, byte| bits << 1 | u8::from(*byte == 0x5A)));
    }
    assert_eq!(seen.len(), 256);
}

#[test]
fn p3_erased_then_programmed_leaves_each_bit_old_one_or_new() {
    for permille in [10, 200, 499, 501, 800, 990] {
        for draw in 0..50 {
            let memory = torn(ChipModel::example_32_kbit(), TornModel::ErasedThenProgrammed, permille, draw).memory();
            for byte in &memory[36..44] {
                let towards = if permille < 500 { 0x0F } else { 0x5A };
                assert_eq!(byte & towards, towards, "bits that are 1 on both sides stay 1");
            }
        }
    }
    let mid = torn(ChipModel::example_32_kbit(), TornModel::ErasedThenProgrammed, 500, 1).memory();
    assert_eq!(mid[36..44], [0xFF; 8]);
}

#[test]
fn p3_unstable_bits_read_differently_until_rewritten() {
    let bench = torn(ChipModel::example_32_kbit(), TornModel::Unstable, 500, 3);
    let reads: std::collections::BTreeSet<Vec<u8>> = (0..50).map(|_| bench.read(36, 8)).collect();
    assert!(reads.len() > 10);
    // All bits that were to change waver, and no others.
    assert!((0..8).all(|i| reads.iter().fold(0, |wavers, read| wavers | read[i] ^ 0x0F) == 0x0F ^ 0x5A));
    bench.store(36, &[0x5A; 8]);
    assert!((0..20).all(|_| bench.read(36, 8) == [0x5A; 8]));
}

/// How many bits of a page that was 0x0F, and is overwritten with 0x5A, are 1 at `permille` of its cycle, in permille:
/// of those that are 0 before (in the first half), of those that are to be 0 (in the second).
fn ones(permille: u64) -> u64 {
    let zeros = if permille < 500 { !0x0F_u8 } else { !0x5A };
    let count = |draw| -> u64 {
        let memory = torn(ChipModel::example_32_kbit(), TornModel::ErasedThenProgrammed, permille, draw).memory();
        memory[36..44].iter().map(|byte| u64::from((byte & zeros).count_ones())).sum()
    };
    (0..200).map(count).sum::<u64>() * 1000 / (200 * 8 * 4)
}

#[test]
fn p3_erased_then_programmed_goes_to_one_in_the_first_half_and_to_new_in_the_second() {
    assert_eq!((ones(0), ones(500)), (0, 1000));
    for (permille, expected) in [(100, 200), (250, 500), (400, 800), (600, 800), (750, 500), (900, 200)] {
        let found = ones(permille);
        assert!(found.abs_diff(expected) < 30, "at {permille} of 1000 {found} of 1000 bits are 1");
    }
}

/// Bytes that are only rewritten with the others: their 0 bits have to be programmed again.
#[test]
fn p3_of_bytes_beside_the_written_ones_only_zeros_waver() {
    let (mut seen, scope) = (0, TornScope::Page);
    for draw in 0..20 {
        let bench =
            torn(ChipModel { torn_scope: scope, ..ChipModel::example_32_kbit() }, TornModel::Unstable, 500, draw);
        for _ in 0..8 {
            let read = bench.read(32, 4);
            seen = read.iter().fold(seen, |seen, byte| seen | byte ^ 0x0F);
        }
    }
    assert_eq!(seen, 0xF0);
}

#[test]
fn p3_only_the_scope_is_in_danger() {
    for (scope, range) in [(TornScope::Latched, 36..44), (TornScope::Group(16), 32..48), (TornScope::Page, 32..64)] {
        for torn_model in TornModel::ALL {
            let mut hurt = std::collections::BTreeSet::new();
            for draw in 0..40 {
                let mut model = ChipModel::example_32_kbit();
                model.torn_scope = scope;
                let bench = torn(model, torn_model, 300, draw);
                for _ in 0..4 {
                    let read = bench.read(0, 96);
                    hurt.extend((0..96).filter(|at| read[*at] != 0x0F));
                }
            }
            assert!(hurt.iter().all(|at| range.contains(at)), "{scope:?} {torn_model:?} {hurt:?}");
            let all_hurt = range.clone().all(|at| hurt.contains(&at));
            assert!(all_hurt || !matches!(torn_model, TornModel::ErasedThenProgrammed | TornModel::Unstable));
        }
    }
}

#[test]
fn p3_latch_is_lost_and_memory_intact_outside_of_a_cycle() {
    let bench = e32();
    bench.rig.load(bench.chip, 0, &[7; 64]);
    // In the middle of the data bytes of a page write.
    let at = bench.rig.now_ns() + 2_500 * 9 * 10;
    bench.rig.set_supply_profile(&SupplyProfile::new().step(at, 0));
    assert_eq!(bench.write(0, &[9; 32]).unwrap_err().fault, BusFault::NoSupply);
    bench.rig.restore_supply_mv(3300);
    bench.wait();
    assert_eq!(bench.memory()[..64], [7; 64]);
    assert!(bench.hazards().is_empty());
}

#[test]
fn p3_a_dip_below_the_write_minimum_tears_too() {
    let mut model = ChipModel::example_32_kbit();
    model.supply.write_min_mv = 2500;
    for (mv, stored, hazards) in [(2499, 0xFF, &[Hazard::TornWrite][..]), (2500, 1, &[])] {
        let bench = Bench::new(model.clone());
        bench.write(0, &[1]).unwrap();
        let now = bench.rig.now_ns();
        bench.rig.set_supply_profile(&SupplyProfile::new().step(now + 1000, mv).step(now + 2000, 3300));
        bench.wait();
        assert_eq!((bench.memory()[0], &bench.hazards()[..]), (stored, hazards), "{mv} mV");
    }
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
fn p3_the_report_names_the_bytes_in_danger() {
    for (scope, text) in [
        (TornScope::Latched, "8 byte(s) at 0x0024"),
        (TornScope::Group(16), "16 byte(s) at 0x0020"),
        (TornScope::Page, "32 byte(s) at 0x0020"),
    ] {
        let mut model = ChipModel::example_32_kbit();
        model.torn_scope = scope;
        let found = torn(model, TornModel::Old, 500, 0).rig.finish();
        assert!(found[0].text.contains(text), "{scope:?}: {}", found[0].text);
    }
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

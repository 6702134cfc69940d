//! Rule P3: what is left when the supply is lost inside a write cycle.

use crate::common::*;
use pagewise_simulator::model::TornScope;
use pagewise_simulator::{BusFault, ChipModel, Hazard, SupplyProfile, TornModel};

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

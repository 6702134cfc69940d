//! Rule P4: wear.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::WearUnit;
use pagewise_simulator::{ChipModel, CycleTime, Hazard, Note, Rig, RigConfig, Straps};

/// A part that stands so many write cycles per byte.
fn rated(endurance_cycles: u64, seed: u64) -> Bench {
    let model = ChipModel { endurance_cycles, ..ChipModel::example_32_kbit() };
    let rig = Rig::new(RigConfig::default().with_seed(seed));
    let chip = rig.attach(model.clone(), Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Max);
    Bench { rig, chip, model }
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_wear_counts_per_unit_and_is_reported_at_half_and_at_the_rating() {
    for (unit, touched) in [(WearUnit::Byte, 0), (WearUnit::Group(4), 10), (WearUnit::Page, 10)] {
        let mut model = ChipModel::example_32_kbit();
        model.wear_unit = unit;
        model.endurance_cycles = 10;
        let bench = Bench::new(model);
        for i in 0..10 {
            bench.store(5, &[i]);
        }
        assert_eq!(bench.rig.wear(bench.chip, 5), 10);
        assert_eq!(bench.rig.wear(bench.chip, 6), touched);
        assert_eq!(bench.rig.wear(bench.chip, 32), 0);
        assert_eq!(bench.hazards(), [Hazard::WearOut, Hazard::WearOut]);
        let first = match unit {
            WearUnit::Byte => 5,
            WearUnit::Group(_) => 4,
            WearUnit::Page => 0,
        };
        let worn: Vec<Note> = notes(&bench.rig).into_iter().filter(|note| matches!(note, Note::Worn { .. })).collect();
        assert_eq!(worn, [5, 10].map(|cycles| Note::Worn { offset: first, cycles, rated: 10 }), "{unit:?}");
    }
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_a_page_write_counts_once_per_unit() {
    let mut model = ChipModel::example_32_kbit();
    model.wear_unit = WearUnit::Group(4);
    let bench = Bench::new(model);
    bench.store(2, &[0; 8]);
    let counts: Vec<u64> = [0, 4, 8, 12].map(|offset| bench.rig.wear(bench.chip, offset)).to_vec();
    assert_eq!(counts, [1, 1, 1, 0]);
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_a_write_to_a_second_region_wears_no_byte_of_the_array() {
    let bench = Bench::new(identification_page());
    bench.rig.bus().write(0x58, &[0, 0, 1]).unwrap();
    bench.wait();
    assert_eq!(bench.rig.region(bench.chip, 0)[0], 1);
    assert_eq!(bench.rig.wear(bench.chip, 0), 0);
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_up_to_the_rating_no_cell_sticks_or_forgets_and_half_of_an_odd_rating_is_rounded_up() {
    for seed in 0..100 {
        let bench = rated(3, seed);
        for (round, incidents) in [(0x00, 0), (0xFF, 1), (0x00, 2)] {
            bench.store(0, &[round; 1]);
            assert_eq!(bench.rig.incidents().len(), incidents, "reported at 2 and at 3 of 3");
            bench.rig.power_cycle();
            assert_eq!(bench.read(0, 1), [round; 1], "seed {seed}");
        }
    }
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_wear_is_that_of_the_unit_that_holds_a_byte() {
    for (unit, range) in [(WearUnit::Byte, 45..46), (WearUnit::Group(4), 44..48), (WearUnit::Page, 32..64)] {
        let bench = Bench::new(ChipModel { wear_unit: unit, ..ChipModel::example_32_kbit() });
        bench.rig.set_wear(bench.chip, 45, 7);
        for offset in 0..256 {
            let expected = if range.contains(&offset) { 7 } else { 0 };
            assert_eq!(bench.rig.wear(bench.chip, offset), expected, "{unit:?}, byte {offset}");
        }
    }
}

/// Source: AT24CM02 (error correction by four bytes); 24XX1025, DS20001941L (endurance by page).
#[test]
fn p4_past_the_rating_cells_forget_with_the_supply() {
    let (mut forgotten, mut forgot, mut kept) = (0, 0, 0);
    for seed in 0..40 {
        let bench = rated(10, seed);
        let byte = [0xA5, 0x5A][seed as usize % 2];
        // Up to the rating nothing is forgotten.
        bench.store(32, &[0; 4]);
        for past in 0..40 {
            bench.store(0, &[byte; 4]);
            let before = bench.read(0, 4);
            assert_eq!(bench.memory()[..4], [byte; 4], "seed {seed}, {past} cycles past the rating");
            bench.rig.power_cycle();
            let after = bench.read(0, 4);
            assert!(before.iter().zip(&after).all(|(before, after)| before & !after == 0), "bits go to 1, as erased");
            forgotten |= before.iter().zip(&after).fold(0, |bits, (before, after)| bits | before ^ after);
            if before == after {
                kept += 1
            } else {
                forgot += 1
            }
            assert_eq!(bench.read(32, 4), [0; 4]);
        }
    }
    assert!(forgot > 20, "{forgot}");
    assert!(kept > forgot, "a share, not all: {kept} kept, {forgot} forgot");
    assert_eq!(forgotten, 0xFF, "any bit");
}

#[test]
fn p4_each_write_decides_anew_what_its_cells_forget() {
    let mut forgotten = 0;
    for seed in 0..30 {
        let bench = rated(10, seed);
        (0..70).for_each(|_| bench.store(0, &[0; 4]));
        bench.rig.power_cycle();
        forgotten += bench.memory()[..4].iter().filter(|byte| **byte != 0).count();
    }
    // One write in 32 leaves a cell that forgets; of 60 writes past the rating most bytes would have one.
    assert!((1..30).contains(&forgotten), "{forgotten} of 120");
}

#[test]
fn p4_without_a_rating_nothing_wears_out() {
    let bench = rated(0, 1);
    for round in 0..200 {
        bench.store(0, &[round; 16]);
        assert_eq!(bench.read(0, 16), [round; 16]);
    }
    bench.rig.power_cycle();
    assert_eq!(bench.read(0, 16), [199; 16]);
    assert!(bench.hazards().is_empty());
}

//! Rules W1 to W7, W9 and W10 of the simulated chip, at byte level.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::{BusyAnswer, CycleUnit, PartlyProtected, PointerAfterWrite};
use pagewise_simulator::{BusFault, ChipModel, CycleTime, EventKind, Hazard, Note, PowerUp, Rig, RigConfig, Straps};

/// Source: 24XX01, DS20001711L: the low bits count, the upper ones stay, earlier data is overwritten.
#[test]
fn w1_page_wrap_keeps_the_upper_bits_for_every_start_and_length() {
    for model in [ChipModel::example_2_kbit(), ChipModel::example_16_kbit(), no_word_address()] {
        let (page, capacity) = (model.page, model.capacity);
        let base = capacity - 2 * page;
        for start in 0..page {
            for len in 1..=2 * page + 1 {
                let bench = Bench::new(model.clone());
                let data: Vec<u8> = (1..=len as u8).collect();
                bench.store(base + start, &data);
                let mut expected = vec![0xFF; capacity as usize];
                for (i, byte) in data.iter().enumerate() {
                    // The low page bits count and wrap, the upper bits stand; the last ones win.
                    expected[(base + (start + i as u32) % page) as usize] = *byte;
                }
                assert_eq!(bench.memory(), expected, "{} {start} {len}", model.name);
                let wraps = bench.hazards().iter().filter(|h| **h == Hazard::PageWrap).count();
                assert_eq!(wraps, usize::from(start + len > page), "{} {start} {len}", model.name);
            }
        }
    }
}

/// Source: 24XX01, DS20001711L: the low bits count, the upper ones stay, earlier data is overwritten.
#[test]
fn w1_page_wrap_is_performed_and_named_for_every_model() {
    for model in eeproms() {
        let bench = Bench::new(model);
        let page = bench.model.page;
        bench.store(page - 1, &[0x11, 0x22]);
        let memory = bench.memory();
        assert_eq!((memory[page as usize - 1], memory[0], memory[page as usize]), (0x11, 0x22, 0xFF));
        assert_eq!(bench.hazards(), [Hazard::PageWrap], "{}", bench.model.name);
    }
}

/// Source: 24XX01, DS20001711L (STOP starts the cycle); SLx 24C04/P, 1998-07-27 (only the bytes sent are programmed).
#[test]
fn w2_stop_after_data_starts_the_cycle_and_only_latched_bytes_change() {
    for model in eeproms() {
        let rig = Rig::new(RigConfig::default());
        let image = pattern(model.capacity as usize);
        let chip = rig.attach_with(model.clone(), Straps::GROUND, PowerUp::Image(image.clone()));
        let bench = Bench { rig, chip, model };
        let at = bench.model.page + 1;
        bench.store(at, &[0xA5, 0x5A]);
        let mut expected = image;
        expected[at as usize..at as usize + 2].copy_from_slice(&[0xA5, 0x5A]);
        assert_eq!(bench.memory(), expected, "{}", bench.model.name);
    }
}

/// Source: 24XX024, DS21210N, and 24XX08, DS21710K: the pointer is set, nothing is programmed.
#[test]
fn w3_header_without_data_sets_the_pointer_and_starts_no_cycle() {
    for model in eeproms().into_iter().filter(|model| model.word_address_bytes > 0) {
        let bench = Bench::new(model);
        bench.store(2, &[0x33, 0x44]);
        bench.write(2, &[]).unwrap();
        assert!(!bench.rig.busy(bench.chip));
        assert_eq!(bench.read_on(2), [0x33, 0x44], "{}", bench.model.name);
    }
}

/// Source: no sheet says it in so many words (datasheets.toml, `write_with_no_stop`): the assumption of every card.
#[test]
fn w4_start_before_stop_drops_the_latch_and_the_word_address_stays() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    bench.rig.load(bench.chip, 0x40, &[0x99]);
    let mut data = [0];
    let mut operations = [Operation::Write(&[0x00, 0x40, 1, 2, 3, 4]), Operation::Read(&mut data)];
    bench.rig.bus().transaction(0x50, &mut operations).unwrap();
    assert!(!bench.rig.busy(bench.chip));
    assert_eq!(data, [0x99]);
    bench.wait();
    assert_eq!(bench.memory()[0x40..0x44], [0x99, 0xFF, 0xFF, 0xFF]);
    assert_eq!(bench.hazards(), [Hazard::RestartAbort]);
}

/// Source: 24XX256, DS20001203W (one cycle for a page); 24C01A/02A/04A, DS11183C (1 ms for each byte).
#[test]
fn w6_duration_is_pinned_or_drawn_between_typical_and_maximum() {
    let model = ChipModel::example_32_kbit();
    let times = model.write_cycle.clone();
    let lasts = |time: CycleTime, seed: u64| {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(model.clone(), Straps::GROUND);
        rig.set_write_cycle(chip, time);
        rig.bus().write(0x50, &[0, 0, 1]).unwrap();
        let from = rig.now_ns();
        rig.trace()
            .iter()
            .find_map(|event| match event.kind {
                EventKind::Chip { note: Note::CycleStart { ends_ns, .. }, .. } => Some(ends_ns - from),
                _ => None,
            })
            .unwrap()
    };
    assert_eq!(lasts(CycleTime::Typical, 1), times.typical_ns);
    assert_eq!(lasts(CycleTime::Max, 1), times.max_ns);
    assert_eq!(lasts(CycleTime::Exact(123), 1), 123);
    let drawn: Vec<u64> = (0..200).map(|seed| lasts(CycleTime::Drawn, seed)).collect();
    assert!(drawn.iter().all(|ns| (times.typical_ns..=times.max_ns).contains(ns)));
    let span = times.max_ns - times.typical_ns;
    assert!(drawn.iter().any(|ns| *ns < times.typical_ns + span / 4));
    assert!(drawn.iter().any(|ns| *ns > times.max_ns - span / 4));
    assert_eq!(lasts(CycleTime::Drawn, 7), lasts(CycleTime::Drawn, 7));
}

/// Source: 24XX256, DS20001203W (one cycle for a page); 24C01A/02A/04A, DS11183C (1 ms for each byte).
#[test]
fn w6_typical_and_maximum_are_durations_themselves() {
    let mut model = ChipModel::example_32_kbit();
    (model.write_cycle.typical_ns, model.write_cycle.max_ns) = (1_000, 1_002);
    let lasts = |seed: u64| {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(model.clone(), Straps::GROUND);
        rig.bus().write(0x50, &[0, 0, 1]).unwrap();
        let state = rig.chip_state(chip).cycle.unwrap();
        state.ends_ns - state.starts_ns
    };
    let drawn: std::collections::BTreeSet<u64> = (0..40).map(lasts).collect();
    assert_eq!(drawn.into_iter().collect::<Vec<_>>(), [1_000, 1_001, 1_002]);
}

/// Source: 24XX256, DS20001203W (one cycle for a page); 24C01A/02A/04A, DS11183C (1 ms for each byte).
#[test]
fn w6_memory_changes_at_the_end_of_the_cycle() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(1_000));
    bench.write(0, &[7]).unwrap();
    bench.rig.advance_ns(999);
    assert!(bench.rig.busy(bench.chip));
    assert_eq!(bench.memory()[0], 0xFF);
    bench.rig.advance_ns(1);
    assert!(!bench.rig.busy(bench.chip));
    assert_eq!(bench.memory()[0], 7);
}

/// Source: 24XX256, DS20001203W (one cycle for a page); 24C01A/02A/04A, DS11183C (1 ms for each byte).
#[test]
fn w6_duration_per_byte_counts_distinct_bytes() {
    let mut model = ChipModel::example_2_kbit();
    model.write_cycle.per = CycleUnit::Byte;
    for (len, bytes) in [(1, 1), (5, 5), (8, 8), (11, 8)] {
        let bench = Bench::new(model.clone());
        bench.write(0, &pattern(len)).unwrap();
        bench.rig.advance_ns(bytes * model.write_cycle.max_ns - 1);
        assert!(bench.rig.busy(bench.chip));
        bench.rig.advance_ns(1);
        assert!(!bench.rig.busy(bench.chip));
    }
}

/// Source: 24XX1025, DS20001941L (same control byte); 24AA02E48, DS20002124E (R/W = 0); AT24C128C online edition (any
/// access).
#[test]
fn w7_any_access_is_refused_during_the_cycle() {
    for model in eeproms() {
        let bench = Bench::new(model);
        let (address, header) = wire_address(&bench.model, 0);
        bench.write(0, &[1]).unwrap();
        let mut byte = [0];
        assert_eq!(bench.rig.bus().read(address, &mut byte).unwrap_err().fault, BusFault::AddressNack);
        assert_eq!(bench.rig.bus().write(address, &header).unwrap_err().fault, BusFault::AddressNack);
        assert_eq!(bench.rig.bus().write(address, &[]).unwrap_err().fault, BusFault::AddressNack);
        bench.wait();
        assert!(bench.rig.bus().read(address, &mut byte).is_ok());
        assert_eq!(bench.memory()[0], 1);
    }
}

/// Source: 24XX1025, DS20001941L (same control byte); 24AA02E48, DS20002124E (R/W = 0); AT24C128C online edition (any
/// access).
#[test]
fn w7_only_writes_are_refused_and_a_read_gives_garbage() {
    let mut model = ChipModel::example_32_kbit();
    model.busy_answer = BusyAnswer::WritesOnly;
    let bench = Bench::new(model);
    bench.write(0, &[1]).unwrap();
    assert_eq!(bench.rig.bus().write(0x50, &[0, 0]).unwrap_err().fault, BusFault::AddressNack);
    assert!(bench.rig.incidents().is_empty());
    let mut garbage = [0; 16];
    bench.rig.bus().read(0x50, &mut garbage).unwrap();
    assert_ne!(garbage, [0xFF; 16]);
    assert_eq!(bench.hazards(), [Hazard::BusyAccess]);
}

/// Source: 24XX1025, DS20001941L (same control byte); 24AA02E48, DS20002124E (R/W = 0); AT24C128C online edition (any
/// access).
#[test]
fn w7_only_the_same_control_byte_is_refused() {
    let mut model = ChipModel::example_16_kbit();
    model.busy_answer = BusyAnswer::SameControlByte;
    let bench = Bench::new(model);
    bench.write(0x100, &[1]).unwrap();
    assert_eq!(bench.rig.bus().write(0x51, &[0, 5]).unwrap_err().fault, BusFault::AddressNack);
    // Another block is acknowledged, and the data is lost.
    bench.rig.bus().write(0x52, &[0, 5]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0x200], 0xFF);
    assert!(bench.hazards().contains(&Hazard::BusyAccess));
}

/// Source: AT24C02C, 8700H (last byte plus one); S-24C02D, Rev.3.0_01 (wrapped in the page).
#[test]
fn w9_pointer_after_a_page_write() {
    for (axis, wrapped) in [(PointerAfterWrite::WrappedInPage, true), (PointerAfterWrite::LastPlusOne, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.pointer_after_write = axis;
        let bench = Bench::new(model);
        bench.rig.load(bench.chip, 0, &pattern(4096));
        bench.store(28, &[9; 4]);
        assert_eq!(bench.read_on(1), [if wrapped { 0 } else { 32 }]);
        bench.store(64, &[9; 3]);
        assert_eq!(bench.read_on(1), [67]);
        bench.store(4095, &[9]);
        let expected = if wrapped { (4064 % 251) as u8 } else { 0 };
        assert_eq!(bench.read_on(1), [expected]);
    }
}

/// Source: MB85RC256V, DS501-00017 (FRAM: no page, no cycle); BR24G32-3A, TSZ02201-0R2R0G100050 (delivered as FFh).
#[test]
fn w10_power_up_contents() {
    let rig = Rig::new(RigConfig::default());
    let model = ChipModel::example_2_kbit();
    let erased = rig.attach(model.clone(), Straps::address(0));
    let image = rig.attach_with(model.clone(), Straps::address(1), PowerUp::Image(vec![1, 2, 3]));
    let random = rig.attach_with(model, Straps::address(2), PowerUp::Random);
    assert_eq!(rig.memory(erased), [0xFF; 256]);
    assert_eq!(rig.memory(image)[..4], [1, 2, 3, 0xFF]);
    let drawn: std::collections::BTreeSet<u8> = rig.memory(random).into_iter().collect();
    assert!(drawn.len() > 100);
}

/// Source: MB85RC256V, DS501-00017 (FRAM: no page, no cycle); BR24G32-3A, TSZ02201-0R2R0G100050 (delivered as FFh).
#[test]
fn w10_fram_has_no_latch_no_page_and_no_cycle() {
    let bench = Bench::new(fram());
    let data = pattern(200);
    bench.write(20, &data).unwrap();
    assert!(!bench.rig.busy(bench.chip));
    assert_eq!(bench.read(20, 200), data);
    // Stored as it arrives: a repeated START drops nothing.
    bench.restarted_writes(0x50, &[&[1, 0, 5, 6], &[2, 0]]).unwrap();
    assert_eq!(bench.memory()[0x100..0x102], [5, 6]);
    assert!(bench.hazards().is_empty());
}

/// Source: 24XX01, DS20001711L (STOP starts the cycle); SLx 24C04/P, 1998-07-27 (only the bytes sent are programmed).
#[test]
fn w2_a_data_byte_that_was_missed_is_no_acked_byte_and_nothing_is_stored() {
    use pagewise_simulator::{Fault, Faults};
    for partial in [PartlyProtected::Nothing, PartlyProtected::UnprotectedOnly] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.partial = partial;
        let bench = Bench::new(model);
        bench.rig.set_faults(Faults { script: vec![Fault::Nack { byte: 5 }], ..Faults::default() }).unwrap();
        assert_eq!(bench.write(0, &[1, 2, 3, 4]).unwrap_err().fault, BusFault::DataNack { byte: 4 });
        assert!(!bench.rig.busy(bench.chip), "{partial:?}: STOP came after a NACK");
        bench.wait();
        assert_eq!(bench.memory()[..4], [0xFF; 4], "{partial:?}");
    }
}

/// Source: 24XX1025, DS20001941L (same control byte); 24AA02E48, DS20002124E (R/W = 0); AT24C128C online edition (any
/// access).
#[test]
fn w7_a_read_is_another_control_byte() {
    let mut model = ChipModel::example_16_kbit();
    model.busy_answer = BusyAnswer::SameControlByte;
    let bench = Bench::new(model);
    bench.write(0x100, &[1]).unwrap();
    bench.rig.bus().read(0x51, &mut [0]).unwrap();
    assert_eq!(bench.hazards(), [Hazard::BusyAccess], "acknowledged, and the data is undefined");
}

/// Source: 24XX1025, DS20001941L (same control byte); 24AA02E48, DS20002124E (R/W = 0); AT24C128C online edition (any
/// access).
#[test]
fn w7_a_refusal_says_how_long_the_cycle_still_lasts() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    bench.write(0, &[1]).unwrap();
    bench.rig.advance_ns(1_000_000);
    assert!(bench.write(0, &[]).is_err());
    let (mut ends, mut refused) = (0, None);
    for event in bench.rig.trace() {
        match event.kind {
            EventKind::Chip { note: Note::CycleStart { ends_ns, .. }, .. } => ends = ends_ns,
            EventKind::Chip { note: Note::BusyRefused { left_ns, .. }, .. } => refused = Some(event.at_ns + left_ns),
            _ => {}
        }
    }
    assert_eq!(refused, Some(ends));
}

/// Source: MB85RC256V, DS501-00017 (FRAM: no page, no cycle); BR24G32-3A, TSZ02201-0R2R0G100050 (delivered as FFh).
#[test]
fn w10_a_fram_write_past_the_end_goes_on_at_zero_and_is_reported() {
    let bench = Bench::new(fram());
    bench.write(0, &[1, 2]).unwrap();
    bench.write(4094, &[3, 4]).unwrap();
    assert!(bench.rig.finish().is_empty());
    bench.write(4095, &[5, 6]).unwrap();
    assert_eq!((bench.memory()[4095], bench.memory()[0]), (5, 6));
    assert_eq!(bench.hazards(), [Hazard::CapacityAlias]);
}

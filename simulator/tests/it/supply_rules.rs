//! Rules P1 to P6 of the simulated chip.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::SpeedGrade;
use pagewise_simulator::{BusFault, ChipId, ChipModel, CycleTime, Event, EventKind, Hazard, Rig, RigConfig, Straps};

fn split_supply() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.supply.read_min_mv = 1700;
    model.supply.write_min_mv = 2500;
    model
}

/// Source: S-24C08C, Rev.5.0_01: reads from 1.6 V, writes from 1.7 V.
#[test]
fn p1_below_the_read_minimum_nothing_answers() {
    let rig = Rig::new(RigConfig::default().with_supply_mv(1699));
    rig.attach(split_supply(), Straps::GROUND);
    for _ in 0..3 {
        assert_eq!(rig.bus().write(0x50, &[0, 0]).unwrap_err().fault, BusFault::AddressNack);
    }
    let incidents = rig.finish();
    assert_eq!(incidents.len(), 1, "a standing condition is reported once");
    assert_eq!(incidents[0].hazard, Hazard::Undervoltage);
}

/// A chip that has been read at this supply.
fn read_at(supply_mv: u32) -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig::default().with_supply_mv(supply_mv));
    let chip = rig.attach(split_supply(), Straps::GROUND);
    rig.load(chip, 0, &[0x77]);
    let mut byte = [0];
    rig.bus().write_read(0x50, &[0, 0], &mut byte).unwrap();
    assert_eq!(byte, [0x77]);
    (rig, chip)
}

/// Source: S-24C08C, Rev.5.0_01: reads from 1.6 V, writes from 1.7 V.
#[test]
fn p1_between_the_minima_reads_work_and_writes_are_acked_but_not_stored() {
    let (rig, chip) = read_at(2499);
    assert!(rig.incidents().is_empty());
    rig.bus().write(0x50, &[0, 0, 0x11]).unwrap();
    assert!(!rig.busy(chip));
    rig.advance_ns(10_000_000);
    assert_eq!(rig.memory(chip)[0], 0x77);
    assert_eq!(rig.finish()[0].hazard, Hazard::Undervoltage);
}

/// Source: S-24C08C, Rev.5.0_01: reads from 1.6 V, writes from 1.7 V.
#[test]
fn p1_at_the_minima_everything_works() {
    let rig = Rig::new(RigConfig::default().with_supply_mv(2500));
    let chip = rig.attach(split_supply(), Straps::GROUND);
    rig.bus().write(0x50, &[0, 0, 0x11]).unwrap();
    rig.advance_ns(10_000_000);
    assert_eq!(rig.memory(chip)[0], 0x11);
    assert!(rig.finish().is_empty());
}

/// Source: 24XX01, DS20001711L: 100 kHz below 2.5 V, 400 kHz above.
#[test]
fn p2_scl_above_the_grade_is_reported_once() {
    for (mv, hz, hazard) in
        [(1800, 400_000, false), (1800, 400_001, true), (3300, 1_000_000, false), (3300, 1_000_001, true)]
    {
        let rig = Rig::new(RigConfig::default().with_supply_mv(mv).with_scl_hz(hz));
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        for _ in 0..3 {
            rig.bus().write(0x50, &[0, 0]).unwrap();
        }
        let found: Vec<Hazard> = rig.finish().iter().map(|i| i.hazard).collect();
        assert_eq!(found, if hazard { vec![Hazard::Overclock] } else { vec![] }, "{mv} mV {hz} Hz");
    }
}

/// Source: 24XX01, DS20001711L: 100 kHz below 2.5 V, 400 kHz above.
#[test]
fn p2_with_faults_on_bits_are_corrupted_by_seed() {
    let run = |seed: u64, hz: u32, trace: bool| {
        let rig = Rig::new(RigConfig::default().with_scl_hz(hz).with_seed(seed));
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig.set_overclock_faults(true);
        rig.set_trace(trace);
        // Wherever a word address with a flipped bit leads.
        rig.load(chip, 0, &[0xA5; 4096]);
        let mut data = [0; 64];
        let done = rig.bus().write_read(0x50, &[0, 0], &mut data);
        (done.is_ok(), data)
    };
    let mut flipped = 0;
    for seed in 0..40 {
        assert_eq!(run(seed, 1_000_000, true), (true, [0xA5; 64]));
        let (done, data) = run(seed, 1_000_001, true);
        assert_eq!(run(seed, 1_000_001, false), (done, data), "with and without a trace");
        if done {
            // Nobody drives where the R/W bit of the device address was flipped.
            let driven = if data.contains(&0xA5) { 0xA5 } else { 0xFF };
            assert!(data.iter().all(|byte| (byte ^ driven).count_ones() <= 1), "{data:02X?}");
            assert_ne!(data, [driven; 64]);
            flipped = data.iter().fold(flipped, |flipped, byte| flipped | byte ^ driven);
        }
    }
    assert_eq!(flipped, 0xFF, "any bit");
}

/// A supply that moves between its limits is nothing to the part, also in the middle of a write.
#[test]
fn p1_a_supply_that_stays_within_its_limits_disturbs_no_transfer() {
    let bench = Bench::new(split_supply());
    let mut bus = bench.rig.bus().steps();
    bus.start().unwrap();
    for (byte, mv) in [(0xA0, 5500), (0, 2500), (0, 1700), (0x11, 3300), (0x22, 2500)] {
        assert!(bus.send(byte), "at {mv} mV");
        bench.rig.set_supply_mv(mv);
    }
    bus.stop().unwrap();
    bench.rig.set_supply_mv(5500);
    bench.wait();
    assert_eq!(bench.memory()[..2], [0x11, 0x22]);
    assert!(bench.hazards().is_empty());
}

/// A part that is off says nothing of a supply that is too low, whoever clocks the lines.
#[test]
fn p1_without_any_supply_nothing_is_told() {
    for (mv, incidents) in [(0, 0), (1, 1)] {
        let rig = Rig::new(RigConfig::default().with_supply_mv(mv));
        rig.attach(split_supply(), Straps::GROUND);
        let kinds = [
            (1_375, EventKind::Start),
            (2_500, EventKind::Address { address: 0x50, read: false, acked: false }),
            (27_500, EventKind::Stop),
        ];
        let replayed = rig.replay(&kinds.map(|(at_ns, kind)| Event { at_ns, kind })).unwrap();
        assert_eq!((replayed.differences, rig.incidents().len()), (0, incidents), "{mv} mV");
    }
}

/// Source: no sheet promises anything of a cut write cycle; models of behaviour, each selectable.
#[test]
fn p3_supply_lost_outside_a_cycle_keeps_memory() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    bench.store(0, &[1, 2, 3]);
    bench.rig.power_cycle();
    assert_eq!(bench.read(0, 3), [1, 2, 3]);
    assert!(bench.hazards().is_empty());
}

/// Source: X24C08, 3842: 1 ms from power good to the first read, 5 ms to the first write.
#[test]
fn p5_no_answer_until_the_power_up_time_has_passed() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Max);
    rig.set_supply_mv(0);
    rig.advance_ns(1_000_000);
    rig.set_supply_mv(3300);
    let from = rig.now_ns();
    let mut polls = 0;
    while rig.bus().write(0x50, &[0, 0]).is_err() {
        polls += 1;
    }
    assert!(polls > 10);
    let waited = rig.now_ns() - from;
    assert!((1_000_000..1_100_000).contains(&waited), "{waited}");
}

/// Source: X24C08, 3842: 1 ms from power good to the first read, 5 ms to the first write.
#[test]
fn p5_a_start_counts_from_the_end_of_the_power_up_time_on_and_not_before() {
    // The START falls around the end of the power-up time; the address byte is over long after it.
    let mut answered = [0, 0];
    for before in 0..3_000 {
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig.set_write_cycle(chip, CycleTime::Max);
        rig.set_supply_mv(0);
        rig.advance_ns(1_000_000);
        rig.set_supply_mv(3300);
        let ready = rig.now_ns() + ChipModel::example_32_kbit().power_up_ns;
        rig.advance_ns(ChipModel::example_32_kbit().power_up_ns - before);
        let answers = rig.bus().write(0x50, &[]).is_ok();
        let started = rig.trace().iter().find(|event| event.kind == EventKind::Start).unwrap().at_ns;
        assert_eq!(answers, started >= ready, "START {started}, ready {ready}");
        answered[usize::from(answers)] += 1;
    }
    assert!(answered.iter().all(|count| *count > 1_000), "{answered:?}");
}

/// Source: S-24C08C, Rev.5.0_01: reads from 1.6 V, writes from 1.7 V.
#[test]
fn p1_at_the_read_minimum_the_chip_answers() {
    let (rig, _) = read_at(1700);
    assert!(rig.finish().is_empty());
}

/// Source: 24XX01, DS20001711L: 100 kHz below 2.5 V, 400 kHz above.
#[test]
fn p2_of_grades_that_overlap_the_fastest_counts_whatever_their_order() {
    let mut model = ChipModel::example_32_kbit();
    let grade = model.speed[0];
    let grades = [400_000, 1_000_000].map(|scl_hz| SpeedGrade { min_mv: 1700, max_mv: 5500, scl_hz, ..grade });
    for speed in [vec![grades[0], grades[1]], vec![grades[1], grades[0]]] {
        model.speed = speed;
        for (hz, hazard) in [(1_000_000, false), (1_000_001, true)] {
            let rig = Rig::new(RigConfig::default().with_scl_hz(hz));
            rig.attach(model.clone(), Straps::GROUND);
            rig.bus().write(0x50, &[0, 0]).unwrap();
            assert_eq!(rig.finish().len(), usize::from(hazard), "{hz} Hz");
        }
    }
}

/// Source: no sheet promises anything above its maximum or without a grade: the run goes on and is reported.
#[test]
fn p6_above_the_maximum_the_run_goes_on_and_is_reported_once() {
    for (mv, hazards) in [(5500, vec![]), (5501, vec![Hazard::Overvoltage])] {
        let rig = Rig::new(RigConfig::default().with_supply_mv(mv));
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        for byte in 0..3 {
            rig.bus().write(0x50, &[0, byte, byte]).unwrap();
            rig.advance_ns(10_000_000);
        }
        assert_eq!(rig.memory(chip)[..3], [0, 1, 2], "it goes on as if it served");
        assert_eq!(rig.finish().iter().map(|incident| incident.hazard).collect::<Vec<_>>(), hazards, "{mv} mV");
    }
}

/// Source: no sheet promises anything above its maximum or without a grade: the run goes on and is reported.
#[test]
fn p6_a_supply_in_a_hole_of_the_speed_table_gets_the_slowest_grade_and_is_reported() {
    let mut model = ChipModel::example_32_kbit();
    model.speed[0].max_mv = 2000;
    model.speed[1].min_mv = 3000;
    for (mv, scl_hz, said) in [(2000, 400_000, 0), (2001, 400_000, 1), (2999, 400_001, 2), (3000, 1_000_000, 0)] {
        let rig = Rig::new(RigConfig::default().with_supply_mv(mv).with_scl_hz(scl_hz));
        rig.attach(model.clone(), Straps::GROUND);
        rig.bus().write(0x50, &[0, 0]).unwrap();
        let of_speed = |note: &&pagewise_simulator::Note| {
            matches!(
                note,
                pagewise_simulator::Note::NoGrade { .. } | pagewise_simulator::Note::TooFast { max_hz: 400_000, .. }
            )
        };
        assert_eq!(notes(&rig).iter().filter(of_speed).count(), said, "{mv} mV at {scl_hz} Hz");
        let hazards: Vec<Hazard> = rig.finish().iter().map(|incident| incident.hazard).collect();
        assert_eq!(hazards, vec![Hazard::Overclock; said.min(1)]);
    }
}

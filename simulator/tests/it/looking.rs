//! Looking into a rig: a chip from inside, what was reported, what surrounds the chips.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{AcLimits, BusyAnswer, MemoryKind, ProtectedAnswer};
use pagewise_simulator::{
    ChipModel, ChipPhase, CycleState, CycleTime, Hazard, LatchState, Level, Straps, TornModel, WireConfig,
};

/// What a chip is doing after these bytes behind a START.
fn phase_after(bench: &Bench, bytes: &[u8]) -> ChipPhase {
    let mut bus = bench.rig.bus().steps();
    bus.start().unwrap();
    for byte in bytes {
        let _ = bus.send(*byte);
    }
    bench.rig.chip_state(bench.chip).phase
}

#[test]
fn a_chip_says_where_it_is_in_a_transfer() {
    assert_eq!(e32().rig.chip_state(e32().chip).phase, ChipPhase::Idle);
    let cases: [(&[u8], ChipPhase); 7] = [
        (&[], ChipPhase::DeviceAddress),
        (&[0xA2], ChipPhase::Idle),
        (&[0xA0], ChipPhase::WordAddress { left: 2 }),
        (&[0xA0, 0], ChipPhase::WordAddress { left: 1 }),
        (&[0xA0, 0, 0], ChipPhase::Data),
        (&[0xA0, 0, 0, 1], ChipPhase::Data),
        (&[0xA1], ChipPhase::Read),
    ];
    for (bytes, phase) in cases {
        assert_eq!(phase_after(&e32(), bytes), phase, "{bytes:02X?}");
    }
    let mut refusing = ChipModel::example_32_kbit();
    refusing.write_protect.answer = ProtectedAnswer::NackData;
    let bench = Bench::wired(refusing, Straps::GROUND.with_wp(Level::High));
    assert_eq!(phase_after(&bench, &[0xA0, 0, 0, 1]), ChipPhase::Refused);
    let busy = Bench::new(ChipModel { busy_answer: BusyAnswer::WritesOnly, ..ChipModel::example_32_kbit() });
    busy.write(0, &[1]).unwrap();
    assert_eq!(phase_after(&busy, &[0xA1]), ChipPhase::Undefined);
}

#[test]
fn the_latch_is_seen_while_data_comes_in_and_the_cycle_while_it_runs() {
    let bench = e32();
    let state = || bench.rig.chip_state(bench.chip);
    let fresh = state();
    assert_eq!((fresh.latch, fresh.cycle, fresh.awake, fresh.pointer_set), (None, None, true, false));
    let mut bus = bench.rig.bus().steps();
    bus.start().unwrap();
    assert!([0xA0, 0, 0x3F].into_iter().all(|byte| bus.send(byte)));
    let opened = LatchState { page: 0x20, size: 32, next: 0x3F, received: 0, bytes: vec![] };
    assert_eq!((state().latch, state().pointer, state().pointer_set), (Some(opened), 0x3F, true));
    assert!([8, 9].into_iter().all(|byte| bus.send(byte)));
    let filled = LatchState { page: 0x20, size: 32, next: 0x21, received: 2, bytes: vec![(0x20, 9), (0x3F, 8)] };
    assert_eq!((state().latch, state().cycle), (Some(filled), None));
    bus.stop().unwrap();
    let began = bench.rig.now_ns();
    let cycle = CycleState { starts_ns: began, ends_ns: began + 5_000_000, bytes: vec![(0x20, 9), (0x3F, 8)] };
    assert_eq!((state().latch, state().cycle), (None, Some(cycle)));
    bench.wait();
    assert_eq!(state().cycle, None);
    // A FRAM has no latch.
    let fram = Bench::new(ChipModel { memory: MemoryKind::Fram, ..ChipModel::example_32_kbit() });
    assert_eq!(phase_after(&fram, &[0xA0, 0, 0, 1]), ChipPhase::Data);
    assert_eq!(fram.rig.chip_state(fram.chip).latch, None);
}

#[test]
fn pins_protection_and_supply_are_seen_as_the_chip_reads_them() {
    let bench = Bench::wired(ChipModel::example_32_kbit(), Straps::address(5));
    let state = || bench.rig.chip_state(bench.chip);
    assert_eq!((state().pins, state().wp_high, state().protects), ([true, false, true], false, false));
    bench.rig.set_wp(bench.chip, Level::High);
    assert_eq!((state().wp_high, state().protects), (true, true));
    // A part whose WP protects nothing.
    let mut without = ChipModel::example_32_kbit();
    without.write_protect.pin_range.len = 0;
    let other = Bench::wired(without, Straps::GROUND.with_wp(Level::High));
    assert!(!other.rig.chip_state(other.chip).protects);
    let awake = |mv| {
        bench.rig.set_supply_mv(mv);
        state().awake
    };
    assert_eq!([1_699, 1_700].map(awake), [false, false], "the power-up time is not over");
    bench.rig.advance_ns(bench.model.power_up_ns);
    assert_eq!([1_700, 1_699].map(awake), [true, false]);
}

#[test]
fn memory_and_wear_are_what_was_put_there() {
    let bench = e32();
    bench.rig.load(bench.chip, 0x10, &[1, 2]);
    let mut memory = bench.memory();
    assert!(bench.rig.holds(bench.chip, &memory));
    memory[0x11] = 3;
    assert!(!bench.rig.holds(bench.chip, &memory));
    bench.rig.set_wear(bench.chip, 0x10, 77);
    assert_eq!(bench.rig.wear(bench.chip, 0x10), 77);
}

#[test]
fn what_was_reported_can_be_looked_at_in_part() {
    let bench = e32();
    assert!(!bench.rig.has_incidents());
    bench.read(4090, 7);
    bench.wait();
    bench.rig.bus().write(0x50, &[0x10]).unwrap();
    let all = bench.rig.incidents();
    assert!(bench.rig.has_incidents() && all.len() == 2, "{all:?}");
    assert_eq!(bench.rig.incidents_from(1), all[1..]);
    assert_eq!(bench.rig.incidents_from(3), []);
    bench.rig.clear_incidents();
    assert!(!bench.rig.has_incidents());
}

/// Where something else was seen of the chip, or of the whole bus, a loss that nothing explains is not put down to the
/// program's word addresses.
#[test]
fn an_unexplained_loss_is_an_incident_where_nothing_else_was_seen() {
    let misplaced = |seen: fn(&Bench)| {
        let bench = e32();
        bench.rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
        seen(&bench);
        bench.rig.meant(bench.chip, 0x40, &[1]);
        bench.hazards().contains(&Hazard::MisplacedWrite)
    };
    assert!(misplaced(|_| {}));
    assert!(!misplaced(|bench| drop(bench.read(4090, 7))), "of the chip");
    assert!(misplaced(|bench| bench.rig.bus().write_read(0x51, &[0x0F, 0xFA], &mut [0; 7]).unwrap()), "of another one");
    let strong = |bench: &Bench| {
        let _ = bench.rig.bit_bang(WireConfig { pull_up_ohm: 1, ..WireConfig::TYPICAL }).write(0x50, &[0, 0]);
    };
    assert!(!misplaced(strong), "of the bus");
}

/// Each chip draws what a cut leaves behind for itself.
#[test]
fn two_chips_are_not_torn_alike() {
    let torn = |draws| {
        let bench = e32();
        let other = bench.rig.attach(ChipModel::example_32_kbit(), Straps::address(1));
        bench.rig.set_write_cycle(other, CycleTime::Max);
        bench.rig.set_torn_model(TornModel::Subset, draws);
        for address in [0x50, 0x51] {
            bench.rig.bus().write(address, &[0, 0, 1, 2, 3, 4, 5, 6, 7, 8]).unwrap();
        }
        bench.rig.power_cycle();
        [bench.chip, other].map(|chip| bench.rig.memory(chip)[..8].to_vec())
    };
    assert!((0..8).any(|draws| torn(draws)[0] != torn(draws)[1]));
}

/// A part whose clock has to be high for longer than it usually is at 1 MHz.
#[test]
fn a_clock_is_fitted_to_all_parts_or_to_none() {
    let with = |ac: AcLimits| {
        let mut model = ChipModel::example_32_kbit();
        model.speed.iter_mut().for_each(|grade| (grade.scl_hz, grade.ac) = (1_000_000, ac));
        model
    };
    let high = with(AcLimits { t_high: 500, t_low: 400, ..AcLimits::FAST_PLUS });
    let low = with(AcLimits { t_high: 300, t_low: 600, ..AcLimits::FAST_PLUS });
    let fits = |models: &[&ChipModel]| {
        let rig = pagewise_simulator::Rig::new(pagewise_simulator::RigConfig::default().with_scl_hz(1_000_000));
        for (index, model) in models.iter().enumerate() {
            rig.attach((*model).clone(), Straps::address(index as u8));
        }
        let fitted = rig.fit_clock();
        rig.bit_bang(WireConfig { mode: None, ..WireConfig::IDEAL }).write_read(0x50, &[0, 0], &mut [0]).unwrap();
        (fitted, rig.finish().len())
    };
    assert_eq!(fits(&[&high]), (true, 0));
    assert_eq!(fits(&[&low]), (true, 0));
    let (fitted, incidents) = fits(&[&high, &low]);
    assert!(!fitted && incidents > 0);
}

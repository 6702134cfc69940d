//! Rules L1 to L7, W5, R5 and B7 of the simulated chip: the wire level.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{AcLimits, CutByte};
use pagewise_simulator::{
    BitBang, BitBangError, ChipModel, EventKind, Fault, Faults, Hazard, Line, Note, PowerUp, ResetShape, Rig,
    RigConfig, RigDelay, Straps, TimingParameter, WireConfig, WirePin,
};

type Bus = BitBang<WirePin, WirePin, RigDelay>;

fn wired(model: ChipModel, config: WireConfig) -> (Bench, Bus) {
    let bench = Bench::new(model);
    let bus = bench.rig.bit_bang(config);
    (bench, bus)
}

fn timing(rig: &Rig) -> Vec<(bool, TimingParameter, u32, u64)> {
    let events = rig.trace();
    let found = events.iter().filter_map(|event| match event.kind {
        EventKind::Timing { chip, parameter, limit_ns, measured_ns } => {
            Some((chip.is_some(), parameter, limit_ns, measured_ns))
        }
        _ => None,
    });
    found.collect()
}

fn notes(rig: &Rig) -> Vec<Note> {
    let events = rig.trace();
    let found = events.iter().filter_map(|event| match event.kind {
        EventKind::Chip { note, .. } => Some(note),
        _ => None,
    });
    found.collect()
}

#[test]
fn l1_rise_time_follows_from_pull_up_and_capacitance() {
    // 0.8473 R C between 30 % and 70 %. Source: UM10204 section 7.1.
    let config = WireConfig { pull_up_ohm: 1000, capacitance_pf: 100, ..WireConfig::TYPICAL };
    assert_eq!((config.rise_ns(), config.release_ns()), (84, 120));
    let rig = Rig::new(RigConfig::default());
    let wire = rig.wire(config);
    let (mut sda, mut delay) = (wire.sda(), rig.delay());
    sda.set_low().unwrap();
    delay.delay_ns(20);
    assert!(sda.is_low().unwrap());
    sda.set_high().unwrap();
    delay.delay_ns(119);
    assert!(sda.is_low().unwrap());
    delay.delay_ns(1);
    assert!(sda.is_high().unwrap());
}

#[test]
fn l1_lines_are_the_wired_and_of_all_drivers() {
    let rig = Rig::new(RigConfig::default());
    let wire = rig.wire(WireConfig::IDEAL);
    let (mut a, mut b) = (wire.sda(), wire.sda());
    assert!(a.is_high().unwrap());
    a.set_low().unwrap();
    assert!(b.is_low().unwrap());
    b.set_high().unwrap();
    assert!(a.is_high().unwrap(), "two handles of one controller pin");
}

#[test]
fn l2_chip_changes_sda_t_aa_after_falling_scl() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bus.start().unwrap();
    for i in (0..8).rev() {
        bus.clock(0xA1_u8 >> i & 1 == 1).unwrap();
    }
    // SCL has just fallen after the eighth clock: the acknowledge comes t_AA later.
    let fell = bench.rig.now_ns();
    bench.rig.advance_ns(1_000);
    let (at, line, level) = *bench.rig.waves().last().unwrap();
    assert_eq!((at - fell, line, level), (450, Line::Sda, false));
}

#[test]
fn l3_spikes_shorter_than_t_sp_are_filtered() {
    // A spike on SDA while SCL is high looks like START and STOP, unless it is filtered.
    for (lasts_ns, harmless) in [(49, true), (60, false)] {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        bench.rig.load(bench.chip, 0, &[0xFF; 8]);
        // In the high part of the first clock of the first data byte: header 27 clocks, START 1.
        let at_ns = (1 + 27) * 2_500 + 1_375 + 300;
        let spike = Fault::Spike { line: Line::Sda, at_ns, lasts_ns };
        bench.rig.set_faults(Faults { script: vec![spike], ..Faults::default() }).unwrap();
        let done = bus.write(0x50, &[0, 0, 0x80, 0x11]);
        bench.wait();
        let stored = bench.memory()[..2] == [0x80, 0x11];
        assert_eq!(stored, harmless, "{lasts_ns} ns");
        assert_eq!(done.is_ok(), harmless);
    }
}

#[test]
fn line_faults_end_when_faults_are_cleared() {
    let low =
        [Fault::SdaLow { from_ns: 1_000, until_ns: 900_000 }, Fault::SclLow { from_ns: 1_000, until_ns: 900_000 }];
    let spikes = [Line::Sda, Line::Scl].map(|line| Fault::Spike { line, at_ns: 1_000, lasts_ns: 800_000 });
    let later = Fault::Spike { line: Line::Sda, at_ns: 60_000, lasts_ns: u64::MAX };
    for fault in low.into_iter().chain(spikes).chain([later]) {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        bench.rig.set_faults(Faults { script: vec![fault], ..Faults::default() }).unwrap();
        bench.rig.advance_ns(10_000);
        let hits = bench.rig.fault_hits().len();
        assert_eq!(hits > 0, fault != later, "{fault:?} has begun");
        bench.rig.clear_faults();
        bench.rig.advance_ns(10_000);
        bus.write(0x50, &[0, 0, 0x80, 0x11]).unwrap_or_else(|error| panic!("{fault:?}: {error:?}"));
        bench.wait();
        assert_eq!(bench.memory()[..2], [0x80, 0x11], "{fault:?}");
        assert_eq!(bench.rig.fault_hits().len(), hits, "{fault:?} hits after it was cleared");
    }
}

#[test]
fn l4_a_controller_at_its_rate_keeps_all_limits() {
    for (hz, mode, ohm, rise_max_ns) in [
        (100_000, AcLimits::STANDARD, 4700, 1000),
        (400_000, AcLimits::FAST, 2200, 300),
        (1_000_000, AcLimits::FAST_PLUS, 1000, 120),
    ] {
        let rig = Rig::new(RigConfig::default().with_scl_hz(hz));
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        let config = WireConfig { pull_up_ohm: ohm, capacitance_pf: 50, fall_ns: 20, mode: Some(mode), rise_max_ns };
        let mut bus = rig.bit_bang(config);
        bus.write(0x50, &[0, 0, 0x55, 0xAA]).unwrap();
        rig.advance_ns(5_000_000);
        let mut data = [0; 2];
        bus.write_read(0x50, &[0, 0], &mut data).unwrap();
        assert_eq!(data, [0x55, 0xAA], "{hz} Hz");
        assert_eq!(rig.memory(chip)[..2], [0x55, 0xAA]);
        assert_eq!(timing(&rig), [], "{hz} Hz");
        assert!(rig.finish().is_empty());
    }
}

#[test]
fn l4_each_violation_is_an_event_with_limit_and_measured_value() {
    let config = WireConfig { mode: Some(AcLimits::STANDARD), ..WireConfig::IDEAL };
    let rig = Rig::new(RigConfig::default());
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let wire = rig.wire(config);
    let (mut sda, mut scl, mut delay) = (wire.sda(), wire.scl(), rig.delay());
    // START with a hold time of 100 ns, SCL low for 200 ns with data set up 150 ns, high for 180 ns, repeated START
    // after 120 ns, STOP after 130 ns, START after a free bus of 140 ns.
    sda.set_low().unwrap();
    delay.delay_ns(100);
    scl.set_low().unwrap();
    delay.delay_ns(50);
    sda.set_high().unwrap();
    delay.delay_ns(150);
    scl.set_high().unwrap();
    delay.delay_ns(180);
    scl.set_low().unwrap();
    delay.delay_ns(300);
    scl.set_high().unwrap();
    delay.delay_ns(120);
    sda.set_low().unwrap();
    delay.delay_ns(5000);
    scl.set_low().unwrap();
    delay.delay_ns(5000);
    scl.set_high().unwrap();
    delay.delay_ns(130);
    sda.set_high().unwrap();
    delay.delay_ns(140);
    sda.set_low().unwrap();
    use TimingParameter::*;
    let all = timing(&rig);
    let mode: Vec<(TimingParameter, u32, u64)> =
        all.iter().filter(|v| !v.0).map(|&(_, parameter, limit, measured)| (parameter, limit, measured)).collect();
    let expected = [
        (HoldStart, 4000, 100),
        (Low, 4700, 200),
        (SetupData, 250, 150),
        (High, 4000, 180),
        (Low, 4700, 300),
        (SetupStart, 4700, 120),
        (SetupStop, 4000, 130),
        (BusFree, 4700, 140),
    ];
    assert_eq!(mode, expected);
    // The chip's own limits (Fast-mode Plus at this supply) are checked apart.
    let own: Vec<TimingParameter> = all.iter().filter(|v| v.0).map(|v| v.1).collect();
    assert_eq!(own, [HoldStart, Low, High, Low, SetupStart, SetupStop, BusFree]);
    assert!(rig.finish().iter().any(|incident| incident.hazard == Hazard::Overclock));
}

#[test]
fn l4_a_slow_rise_is_reported() {
    // 10 kilohm and 400 pF: 3.4 us.
    let config = WireConfig { pull_up_ohm: 10_000, capacitance_pf: 400, ..WireConfig::TYPICAL };
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), config);
    let _ = bus.write(0x50, &[0, 0]);
    assert_eq!(timing(&bench.rig)[0], (false, TimingParameter::Rise, 300, 3389));
}

/// Reads two bytes of 0x00 and goes away after `bits` bits of the second one.
fn leave_in_mid_read(bus: &mut Bus, bits: u8) {
    bus.start().unwrap();
    for byte in [0xA0, 0, 0] {
        assert!(bus.send(byte).unwrap());
    }
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    bus.receive(true).unwrap();
    for _ in 0..bits {
        bus.clock(true).unwrap();
    }
    bus.abandon().unwrap();
}

#[test]
fn l5_every_published_software_reset_frees_a_bus_left_in_mid_read() {
    for shape in ResetShape::ALL {
        for contents in [0x00, 0x55, 0xAA, 0xF0, 0x0F] {
            for bits in 0..8 {
                let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
                bench.rig.load(bench.chip, 0, &[contents; 64]);
                leave_in_mid_read(&mut bus, bits);
                bus.software_reset(shape).unwrap();
                bench.rig.advance_ns(10_000);
                let mut data = [0; 2];
                bus.write_read(0x50, &[0, 1], &mut data).unwrap();
                assert_eq!(data, [contents; 2], "{shape:?} {contents:#04x} {bits}");
                bus.write(0x50, &[0, 0, 0x99]).unwrap();
                bench.wait();
                assert_eq!(bench.memory()[..2], [0x99, contents], "nothing else was written");
            }
        }
    }
}

#[test]
fn l5_a_controller_that_left_is_reported_as_stuck_bus() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bench.rig.load(bench.chip, 0, &[0; 8]);
    leave_in_mid_read(&mut bus, 3);
    bench.rig.advance_ns(2_000_000);
    assert_eq!(bus.write(0x50, &[0, 0]).unwrap_err(), BitBangError::SdaHeld);
    assert_eq!(bench.hazards(), [Hazard::StuckBus]);
}

#[test]
fn l6_bus_time_out_resets_the_bus_logic() {
    let mut model = ChipModel::example_32_kbit();
    model.bus_timeout_ns = 25_000_000;
    for (waits_ms, survives) in [(24, true), (26, false)] {
        let (bench, mut bus) = wired(model.clone(), WireConfig::IDEAL);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0, 0x77] {
            assert!(bus.send(byte).unwrap());
        }
        bench.rig.advance_ns(waits_ms * 1_000_000);
        assert_eq!(bus.send(0x78).unwrap(), survives);
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0] == 0x77, survives);
        assert_eq!(notes(&bench.rig).contains(&Note::TimedOut), !survives);
    }
}

#[test]
fn l6_minimum_clock_is_noted() {
    let mut model = ChipModel::example_32_kbit();
    model.min_scl_hz = 10_000;
    for (hz, slow) in [(10_000, false), (9_999, true)] {
        let rig = Rig::new(RigConfig::default().with_scl_hz(hz));
        rig.attach(model.clone(), Straps::GROUND);
        rig.bus().write(0x50, &[0, 0]).unwrap();
        assert_eq!(notes(&rig).iter().any(|note| matches!(note, Note::TooSlow { .. })), slow);
    }
}

#[test]
fn w5_stop_in_the_middle_of_a_byte() {
    for (axis, expected) in [(CutByte::DropsAll, [0xFF, 0xFF]), (CutByte::KeepsWhole, [0x11, 0xFF])] {
        for bits in 1..8 {
            let mut model = ChipModel::example_32_kbit();
            model.cut_byte = axis;
            let (bench, mut bus) = wired(model, WireConfig::IDEAL);
            bus.start().unwrap();
            for byte in [0xA0, 0, 0, 0x11] {
                assert!(bus.send(byte).unwrap());
            }
            for _ in 0..bits {
                bus.clock(false).unwrap();
            }
            bus.stop().unwrap();
            bench.wait();
            assert_eq!(bench.memory()[..2], expected, "{axis:?} {bits}");
            let cut = Note::ByteCut { read: false, bits };
            assert!(notes(&bench.rig).contains(&cut));
        }
    }
}

#[test]
fn w5_start_in_the_middle_of_a_byte_drops_the_latch() {
    for axis in [CutByte::DropsAll, CutByte::KeepsWhole] {
        let mut model = ChipModel::example_32_kbit();
        model.cut_byte = axis;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0, 0x11] {
            assert!(bus.send(byte).unwrap());
        }
        bus.clock(true).unwrap();
        bus.clock(true).unwrap();
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap(), "the next byte is a device address");
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0], 0xFF);
    }
}

#[test]
fn w8_wp_in_the_data_phase_cancels_or_only_its_level_at_stop_counts() {
    use pagewise_simulator::Level;
    use pagewise_simulator::model::WpSampled;
    for (sampled, stored) in [(WpSampled::Stop, true), (WpSampled::DataPhase, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = sampled;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0, 0x11] {
            assert!(bus.send(byte).unwrap());
        }
        bench.rig.set_wp(bench.chip, Level::High);
        assert!(bus.send(0x22).unwrap());
        bench.rig.set_wp(bench.chip, Level::Low);
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0] == 0x11, stored, "{sampled:?}");
    }
    // High only during the header: both store.
    for sampled in [WpSampled::Stop, WpSampled::DataPhase] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = sampled;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bench.rig.set_wp(bench.chip, Level::High);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0] {
            assert!(bus.send(byte).unwrap());
        }
        bench.rig.set_wp(bench.chip, Level::Low);
        assert!(bus.send(0x11).unwrap());
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0], 0x11);
    }
}

#[test]
fn r5_pointer_is_undefined_after_a_read_was_cut() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..30 {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let image: Vec<u8> = (0..256).map(|i| i as u8 | 0x80).collect();
        rig.attach_with(ChipModel::example_2_kbit(), Straps::GROUND, PowerUp::Image(image));
        let mut bus = rig.bit_bang(WireConfig::IDEAL);
        bus.write(0x50, &[0x00]).unwrap();
        bus.start().unwrap();
        assert!(bus.send(0xA1).unwrap());
        // The first bit is 1, so that a START gets through right after it was clocked.
        bus.start().unwrap();
        bus.send(0xA1).unwrap();
        seen.insert(bus.receive(false).unwrap());
        bus.stop().unwrap();
    }
    assert!(seen.len() > 5, "{seen:?}");
}

#[test]
fn b7_start_byte_general_call_and_reserved_addresses_are_not_answered() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    for control in (0x00..0x10).chain(0xF0..=0xFF) {
        bus.start().unwrap();
        assert!(!bus.send(control).unwrap(), "{control:#04x}");
        bus.stop().unwrap();
        bench.rig.advance_ns(2_000);
    }
}

#[test]
fn b7_start_directly_followed_by_stop_is_survived() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    let mut sda = bench.rig.wire(WireConfig::IDEAL).sda();
    for _ in 0..3 {
        sda.set_low().unwrap();
        bench.rig.advance_ns(1_000);
        sda.set_high().unwrap();
        bench.rig.advance_ns(2_000);
    }
    bus.write(0x50, &[0, 0, 1]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0], 1);
}

#[test]
fn b1_start_in_the_middle_of_a_header_resets_the_chip() {
    for clocks in 0..8 {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap());
        for _ in 0..clocks {
            bus.clock(true).unwrap();
        }
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap());
        for byte in [0x01, 0x00, 0x42] {
            assert!(bus.send(byte).unwrap());
        }
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0x100], 0x42);
    }
}

#[test]
fn p3_supply_lost_at_the_wire_level_loses_the_latch_and_frees_the_lines() {
    // At any clock of a page write: before STOP nothing is stored.
    for clock in 0..(9 * 7) {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
        bench.rig.load(bench.chip, 0, &[7; 64]);
        let at = 2_500 * (1 + clock) + 700;
        bench.rig.set_supply_profile(&pagewise_simulator::SupplyProfile::new().step(at, 0));
        assert!(bus.write(0x50, &[0, 0, 1, 2, 3, 4]).is_err());
        bench.rig.restore_supply_mv(3300);
        let mut bus = bench.rig.bit_bang(WireConfig::TYPICAL);
        let mut data = [0; 8];
        bus.write_read(0x50, &[0, 0], &mut data).unwrap();
        assert_eq!(data, [7; 8], "clock {clock}");
        assert_eq!(bench.memory()[..64], [7; 64]);
    }
}

#[test]
fn b6_two_devices_answer_together_at_the_wire_level() {
    let rig = Rig::new(RigConfig::default());
    let a = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let b = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.load(a, 0, &[0b1100_1010]);
    rig.load(b, 0, &[0b1010_1100]);
    let mut bus = rig.bit_bang(WireConfig::TYPICAL);
    let mut data = [0];
    bus.write_read(0x50, &[0, 0], &mut data).unwrap();
    assert_eq!(data, [0b1000_1000]);
    assert_eq!(rig.finish().iter().map(|i| i.hazard).collect::<Vec<_>>(), [Hazard::AddressConflict]);
}

#[test]
fn a_line_held_low_is_an_error_of_the_bit_banging_controller() {
    for (fault, error) in [
        (Fault::SdaLow { from_ns: 0, until_ns: 50_000 }, BitBangError::SdaHeld),
        (Fault::SclLow { from_ns: 0, until_ns: 50_000 }, BitBangError::SclHeld),
    ] {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
        bench.rig.set_faults(Faults { script: vec![fault], ..Faults::default() }).unwrap();
        bench.rig.advance_ns(10_000);
        assert_eq!(bus.write(0x50, &[0, 0]).unwrap_err(), error);
        bench.rig.advance_ns(100_000);
        bus.abandon().unwrap();
        bench.rig.advance_ns(10_000);
        bus.write(0x50, &[0, 0]).unwrap();
    }
}

#[test]
fn l4_the_limits_are_those_of_the_grade_at_the_supply_of_the_moment() {
    // Fast-mode Plus from 2.5 V on, Fast-mode below.
    let rig = Rig::new(RigConfig::default().with_scl_hz(1_000_000));
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let mut bus = rig.bit_bang(WireConfig::IDEAL);
    bus.write(0x50, &[0, 0]).unwrap();
    assert_eq!(timing(&rig), []);
    rig.set_supply_mv(1800);
    let _ = bus.write(0x50, &[0, 0]);
    let found = timing(&rig);
    assert!(found.contains(&(true, TimingParameter::Low, 1300, 550)), "{found:?}");
}

#[test]
fn a_write_refused_at_the_wire_level_is_explained_by_the_ledger() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bus.write(0x50, &[0, 0, 1]).unwrap();
    bench.rig.meant(bench.chip, 0x40, &[2, 3]);
    assert!(bus.write(0x50, &[0, 0x40, 2, 3]).is_err());
    bench.wait();
    assert_eq!(bench.rig.explain()[0].cause, Some(Hazard::BusyAccess));
    assert_eq!(bench.hazards(), [Hazard::BusyAccess]);
    // Polling and retrying leaves nothing to explain.
    bus.write(0x50, &[0, 0x40, 2, 3]).unwrap();
    while bus.write(0x50, &[0, 0]).is_err() {}
    assert_eq!(bench.rig.explain(), []);
}

#[test]
fn w5_bytes_dropped_by_a_stop_in_a_byte_are_reported() {
    for (axis, dropped) in [(CutByte::DropsAll, true), (CutByte::KeepsWhole, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.cut_byte = axis;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        assert!([0xA0, 0, 0x20, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        bus.clock(false).unwrap();
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(notes(&bench.rig).contains(&Note::DataDropped { offset: 0x20, bytes: 1 }), dropped, "{axis:?}");
        assert_eq!(bench.hazards(), if dropped { vec![Hazard::RestartAbort] } else { vec![] }, "{axis:?}");
    }
}

#[test]
fn w10_fram_keeps_whole_bytes_when_a_byte_is_cut() {
    let mut model = fram();
    model.cut_byte = CutByte::DropsAll;
    let (bench, mut bus) = wired(model, WireConfig::IDEAL);
    bus.start().unwrap();
    assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
    bus.clock(false).unwrap();
    bus.stop().unwrap();
    assert_eq!(bench.memory()[..2], [0x11, 0xFF]);
    assert!(bench.hazards().is_empty(), "stored as it arrived: nothing was dropped");
}

#[test]
fn r5_an_undefined_pointer_is_noted_at_the_next_current_address_read() {
    let (bench, mut bus) = wired(ChipModel::example_2_kbit(), WireConfig::IDEAL);
    let unset = |rig: &Rig| notes(rig).iter().filter(|note| **note == Note::PointerUnset).count();
    bus.write(0x50, &[0x00]).unwrap();
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    assert_eq!(unset(&bench.rig), 0, "the header has set it");
    // An erased byte is driven: a START gets through.
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    bus.receive(false).unwrap();
    bus.stop().unwrap();
    assert_eq!(unset(&bench.rig), 1);
}

#[test]
fn l4_a_rise_time_at_its_limit_is_kept() {
    let config = WireConfig { pull_up_ohm: 1000, capacitance_pf: 100, ..WireConfig::TYPICAL };
    for (rise_max_ns, violations) in [(84, 0), (83, 1)] {
        let rig = Rig::new(RigConfig::default());
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig.bit_bang(WireConfig { rise_max_ns, mode: None, ..config }).write(0x50, &[0, 0]).unwrap();
        let rises = timing(&rig).iter().filter(|found| found.1 == TimingParameter::Rise).count();
        assert_eq!(rises, violations, "84 ns against {rise_max_ns} ns");
    }
}

#[test]
fn p1_a_chip_below_the_read_minimum_lets_go_of_sda() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bench.rig.load(bench.chip, 0, &[0; 8]);
    leave_in_mid_read(&mut bus, 3);
    bench.rig.advance_ns(10_000);
    assert!(!bench.rig.waves().iter().rfind(|(_, line, _)| *line == Line::Sda).unwrap().2);
    bench.rig.set_supply_mv(1000);
    bench.rig.advance_ns(10_000);
    assert!(bench.rig.waves().iter().rfind(|(_, line, _)| *line == Line::Sda).unwrap().2);
}

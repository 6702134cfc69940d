//! Rules L1 to L3, L5, L6, P1, P3 and B6 at the wire level: lines, spikes, a bus left alone, supply.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::ProtectedAnswer;
use pagewise_simulator::{
    BitBangError, ChipModel, ClockPlan, Fault, Faults, Hazard, Level, Line, Note, ResetShape, Rig, RigConfig, Straps,
    WireConfig,
};

/// Source: UM10204 Rev.5, 7.1: rise time 0.8473 R C between 0.3 and 0.7 VDD.
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

/// Source: UM10204 Rev.5, 7.1: rise time 0.8473 R C between 0.3 and 0.7 VDD.
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

/// Source: 24XX01, DS20001711L, tAA; UM10204 Rev.6 (SDA is sampled while SCL is high).
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

/// A bit that the next falling SCL overtakes, t_AA being longer than the clock, never shows.
#[test]
fn l2_data_that_the_next_clock_overtakes_never_shows() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bench.rig.load(bench.chip, 0, &[0b1011_1111; 4096]);
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    // SCL has just fallen, and SDA is still low from the acknowledge bit. Bit 7 is high and comes after 450 ns; bit 6 is low.
    let wire = bench.rig.wire(WireConfig::IDEAL);
    let (mut scl, mut sda) = (wire.scl(), wire.sda());
    bench.rig.advance_ns(100);
    scl.set_high().unwrap();
    bench.rig.advance_ns(100);
    scl.set_low().unwrap();
    bench.rig.advance_ns(1_000);
    assert!(sda.is_low().unwrap());
    assert_eq!(bench.rig.waves().last().map(|(_, line, _)| *line), Some(Line::Scl), "SDA has not moved since");
}

/// Source: UM10204 Rev.6, bus table: spikes below 50 ns are filtered, as in PCA9698 Rev.3 Table 15.
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

/// Source: UM10204 Rev.6, 3.1.16 (bus clear); AT24C128C online edition (START, nine clocks, START, STOP).
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

/// Source: UM10204 Rev.6, 3.1.16 (bus clear); AT24C128C online edition (START, nine clocks, START, STOP).
#[test]
fn l5_a_controller_that_left_is_reported_as_stuck_bus() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bench.rig.load(bench.chip, 0, &[0; 8]);
    leave_in_mid_read(&mut bus, 3);
    bench.rig.advance_ns(2_000_000);
    assert_eq!(bus.write(0x50, &[0, 0]).unwrap_err(), BitBangError::SdaHeld);
    assert_eq!(bench.hazards(), [Hazard::StuckBus]);
}

/// Source: AT34C04 online edition: 10 kHz at least, time-out 25 to 35 ms.
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

/// Source: AT34C04 online edition: 10 kHz at least, time-out 25 to 35 ms.
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

/// Source: no sheet promises anything of a cut write cycle; models of behaviour, each selectable.
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

/// Source: UM10204 Rev.6: SDA is the wired AND of all that drive it.
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

/// A controller that waits for a stretched clock gives it up when its patience is over; a held SDA after two low parts.
#[test]
fn how_long_the_bit_banging_controller_waits_for_a_line() {
    let plan = ClockPlan::for_scl_hz(400_000);
    // It looks sixteen times in a low part.
    let step = plan.low_ns / 16;
    let took = |fault, patience: u64, call: fn(&mut Bus) -> Result<(), BitBangError>| {
        let (bench, bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        let mut bus = bus.waiting(patience);
        bus.start().unwrap();
        bench.rig.set_faults(Faults { script: vec![fault], ..Faults::default() }).unwrap();
        let began = bench.rig.now_ns();
        (call(&mut bus), bench.rig.now_ns() - began)
    };
    let scl = Fault::SclLow { from_ns: 0, until_ns: 1 << 40 };
    let clock = |bus: &mut Bus| bus.clock(true).map(drop);
    for patience in [0_u64, 100_000] {
        let waits = patience.div_ceil(step) * step;
        assert_eq!(took(scl, patience, clock), (Err(BitBangError::SclHeld), plan.low_ns + waits + plan.high_ns));
    }
    let sda = Fault::SdaLow { from_ns: 0, until_ns: 1 << 40 };
    assert_eq!(took(sda, 0, |bus| bus.stop()), (Ok(()), plan.low_ns + plan.high_ns + 32 * step));
}

#[test]
fn adjacent_reads_and_the_byte_that_was_refused_over_pins() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bench.rig.load(bench.chip, 0, &[1, 2, 3, 4]);
    bus.write(0x50, &[0, 0]).unwrap();
    bench.rig.forget();
    let (mut one, mut two) = ([0; 2], [0; 2]);
    let reads = &mut [Operation::Read(&mut one), Operation::Read(&mut []), Operation::Read(&mut two)];
    bus.transaction(0x50, reads).unwrap();
    let two_reads = &mut [Operation::Read(&mut one), Operation::Read(&mut two)];
    bus.write(0x50, &[0, 0]).unwrap();
    bus.transaction(0x50, two_reads).unwrap();
    let text = bench.rig.transfers_text();
    let reads: Vec<&str> = text.lines().filter_map(|line| line.split_once("S 50R+ ").map(|(_, bytes)| bytes)).collect();
    assert_eq!(reads, ["01+ 02+ 03+ 04- P"; 2]);
    let mut model = ChipModel::example_32_kbit();
    model.write_protect.answer = ProtectedAnswer::NackData;
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    let mut bus = bench.rig.bit_bang(WireConfig::TYPICAL);
    assert_eq!(bus.write(0x50, &[0, 0, 1, 2]), Err(BitBangError::DataNack(2)));
    let two_writes = &mut [Operation::Write(&[0]), Operation::Write(&[0, 1])];
    assert_eq!(bus.transaction(0x50, two_writes), Err(BitBangError::DataNack(2)));
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

/// Source: S-24C08C, Rev.5.0_01: reads from 1.6 V, writes from 1.7 V.
#[test]
fn p1_a_chip_below_the_read_minimum_lets_go_of_sda() {
    for (mv, lets_go) in [(1700, false), (1699, true)] {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        bench.rig.load(bench.chip, 0, &[0; 8]);
        leave_in_mid_read(&mut bus, 3);
        bench.rig.advance_ns(10_000);
        let sda = || bench.rig.waves().iter().rfind(|(_, line, _)| *line == Line::Sda).unwrap().2;
        assert!(!sda());
        bench.rig.set_supply_mv(mv);
        bench.rig.advance_ns(10_000);
        assert_eq!(sda(), lets_go, "{mv} mV");
    }
}

/// Source: UM10204 Rev.6, 3.1.16: a bus is stuck when a device holds SDA in the middle of a byte that it sends.
#[test]
fn l5_a_clock_that_rests_where_the_chip_sends_no_zero_is_no_stuck_bus() {
    for (bits, holds) in [(&[0xA0][..], false), (&[0xA1][..], true)] {
        for contents in [0x00, 0xFF] {
            let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
            bench.rig.load(bench.chip, 0, &[contents; 4096]);
            bus.start().unwrap();
            // Without its acknowledge bit, or with it and one bit of data.
            (0..8).rev().for_each(|i| assert!(bus.clock(bits[0] >> i & 1 == 1).is_ok()));
            if holds {
                assert!(!bus.clock(true).unwrap(), "acknowledged");
            }
            bench.rig.advance_ns(1_375);
            bench.rig.wire(WireConfig::IDEAL).scl().set_high().unwrap();
            bench.rig.advance_ns(2_000_000);
            let stuck = holds && contents == 0x00;
            assert_eq!(notes(&bench.rig).contains(&Note::HoldsSda), stuck, "{bits:02X?} {contents:#04x}");
        }
    }
}

/// What the observer has seen of a transfer is not forgotten when the supply moves within its limits.
#[test]
fn p1_a_supply_that_moves_in_a_transfer_takes_nothing_from_the_trace() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bus.start().unwrap();
    for (byte, mv) in [(0xA0, 3000), (0x00, 5000), (0x20, 2500), (0x11, 3300)] {
        assert!(bus.send(byte).unwrap());
        bench.rig.set_supply_mv(mv);
    }
    bus.stop().unwrap();
    let text = bench.rig.transfers_text();
    assert!(text.contains("S 50W+ 00+ 20+ 11+ P"), "{text}");
}

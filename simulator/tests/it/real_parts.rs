//! What an engineer with an analyser and twenty parts sees: WP around STOP, data that comes out between two times, write
//! cycles by temperature, dips of the supply, other devices that stretch the clock. Each with its published value.

use std::collections::BTreeSet;

use crate::common::*;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{AcLimits, BrownOut, CycleGrade, WpSampled};
use pagewise_simulator::{
    BitBangError, ChipModel, CycleTime, EventKind, Hazard, Level, Line, Note, Rig, RigConfig, Straps, TimingParameter,
    WireConfig,
};

/// WP must be stable for 600 ns before and 1300 ns after the STOP. Source: 24XX256, DS20001203W, 400 kHz.
fn with_wp_times() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    for grade in &mut model.speed {
        (grade.ac.t_su_wp, grade.ac.t_hd_wp) = (600, 1300);
    }
    model
}

/// A write whose STOP comes at `wp_ns` after WP went to `level` (before it, if negative); the STOP takes one clock.
fn write_with_wp(bench: &Bench, at_the_wire: bool, wp_ns: i64, level: Level) {
    let mut bus = bench.rig.bus().steps();
    let mut pins = bench.rig.bit_bang(WireConfig::IDEAL);
    let bytes = [0xA0, 0, 0x20, 0x11];
    if at_the_wire {
        pins.start().unwrap();
        assert!(bytes.into_iter().all(|byte| pins.send(byte).unwrap()));
    } else {
        bus.start().unwrap();
        assert!(bytes.into_iter().all(|byte| bus.send(byte)));
    }
    if wp_ns > 0 {
        // From here a clock of 2500 ns until the STOP.
        let (lead, stop_ns) = (wp_ns.unsigned_abs(), 2500);
        bench.rig.set_wp(bench.chip, level);
        bench.rig.advance_ns(lead.saturating_sub(stop_ns));
    }
    if at_the_wire {
        pins.stop().unwrap()
    } else {
        bus.stop().unwrap()
    }
    if wp_ns <= 0 {
        bench.rig.advance_ns(wp_ns.unsigned_abs());
        bench.rig.set_wp(bench.chip, level);
    }
}

/// Source: 24XX256, DS20001203W: WP set-up 600 ns, hold 1300 ns at 400 kHz; 4000 and 4700 ns at 100 kHz.
#[test]
fn w8_wp_that_moves_too_near_to_the_stop_is_a_violation() {
    for at_the_wire in [false, true] {
        for (after_ns, kept) in [(1_i64, false), (1299, false), (1300, true), (50_000, true)] {
            let bench = Bench::new(with_wp_times());
            write_with_wp(&bench, at_the_wire, -after_ns, Level::High);
            let found = timing(&bench.rig);
            let broken = vec![(true, TimingParameter::HoldWp, 1300, after_ns.unsigned_abs())];
            assert_eq!(found, if kept { vec![] } else { broken }, "{after_ns} ns after the STOP");
            let hazards: Vec<Hazard> = bench.rig.incidents().iter().map(|incident| incident.hazard).collect();
            assert_eq!(hazards, if kept { vec![] } else { vec![Hazard::BusTiming] });
            bench.wait();
            assert_eq!(bench.memory()[0x20], 0x11, "without faults the write goes on as it began");
        }
    }
    // The set-up time: 4000 ns of a slow grade, more than the clock of the STOP.
    for (before_ns, kept) in [(3000_i64, false), (3999, false), (4000, true)] {
        let mut model = with_wp_times();
        model.speed.iter_mut().for_each(|grade| grade.ac.t_su_wp = 4000);
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        write_with_wp(&bench, false, before_ns, Level::Low);
        let broken = vec![(true, TimingParameter::SetupWp, 4000, before_ns.unsigned_abs())];
        assert_eq!(timing(&bench.rig), if kept { vec![] } else { broken }, "{before_ns} ns before the STOP");
    }
}

/// Source: 24XX256, DS20001203W.
#[test]
fn w8_with_faults_on_a_wp_that_moves_too_near_counts_as_drawn() {
    let (mut set_up, mut released, mut held) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for seed in 0..16 {
        for (wp_ns, level, outcomes) in
            [(3000, Level::High, &mut set_up), (3000, Level::Low, &mut released), (-100, Level::High, &mut held)]
        {
            let mut model = with_wp_times();
            model.speed.iter_mut().for_each(|grade| grade.ac.t_su_wp = 4000);
            model.write_protect.sampled = WpSampled::Stop;
            let rig = Rig::new(RigConfig::default().with_seed(seed));
            let before = Level::from_bit(level == Level::Low);
            let chip = rig.attach(model.clone(), Straps::GROUND.with_wp(before));
            rig.set_overclock_faults(true);
            let bench = Bench { rig, chip, model };
            write_with_wp(&bench, false, wp_ns, level);
            bench.wait();
            outcomes.insert(bench.memory()[0x20]);
        }
    }
    assert_eq!(released, BTreeSet::from([0x11, 0xFF]));
    // Released before any data byte, and so not seen at one either.
    let before_data = |seed| {
        let mut model = with_wp_times();
        model.speed.iter_mut().for_each(|grade| grade.ac.t_su_wp = 30_000);
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(model, Straps::GROUND.with_wp(Level::High));
        rig.set_overclock_faults(true);
        let mut bus = rig.bus().steps();
        bus.start().unwrap();
        assert!([0xA0, 0, 0x20].into_iter().all(|byte| bus.send(byte)));
        rig.set_wp(chip, Level::Low);
        assert!(bus.send(0x11));
        bus.stop().unwrap();
        rig.busy(chip)
    };
    assert_eq!((0..16).map(before_data).collect::<BTreeSet<bool>>().len(), 2, "as drawn");
    assert_eq!(set_up, BTreeSet::from([0x11, 0xFF]));
    assert_eq!(held, BTreeSet::from([0x11, 0xFF]));
    // A part without such times, and a WP that rests, are as ever.
    for (model, wp_ns) in [(ChipModel::example_32_kbit(), -100), (with_wp_times(), -50_000)] {
        for seed in 0..8 {
            let rig = Rig::new(RigConfig::default().with_seed(seed));
            let chip = rig.attach(model.clone(), Straps::GROUND);
            rig.set_overclock_faults(true);
            let bench = Bench { rig, chip, model: model.clone() };
            write_with_wp(&bench, false, wp_ns, Level::High);
            bench.wait();
            assert_eq!(bench.memory()[0x20], 0x11);
        }
    }
}

/// Source: 24XX256, DS20001203W: it has not been stable for any time before the STOP.
#[test]
fn w8_a_wp_that_moves_with_the_stop_breaks_the_set_up_time() {
    for wp_first in [true, false] {
        let (bench, mut bus) = wired(with_wp_times(), WireConfig::IDEAL);
        bus.start().unwrap();
        assert!([0xA0, 0, 0x20, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        let wire = bench.rig.wire(WireConfig::IDEAL);
        let (mut sda, mut scl) = (wire.sda(), wire.scl());
        sda.set_low().unwrap();
        bench.rig.advance_ns(2_000);
        scl.set_high().unwrap();
        bench.rig.advance_ns(2_000);
        if wp_first {
            bench.rig.set_wp(bench.chip, Level::High);
            sda.set_high().unwrap();
        } else {
            sda.set_high().unwrap();
            bench.rig.set_wp(bench.chip, Level::High);
        }
        bench.rig.advance_ns(5_000);
        assert_eq!(timing(&bench.rig), [(true, TimingParameter::SetupWp, 600, 0)], "WP first: {wp_first}");
    }
}

#[test]
fn w8_a_wp_that_protects_nothing_has_no_times() {
    let mut model = with_wp_times();
    model.write_protect.pin_range.len = 0;
    let bench = Bench::new(model);
    write_with_wp(&bench, true, -100, Level::High);
    assert_eq!(timing(&bench.rig), []);
}

/// The times from falling SCL to each change of SDA by the chip, in a read of 32 bytes; so many others hang before it.
fn data_out(least: u32, seed: u64, others: u8) -> Vec<u64> {
    let mut model = ChipModel::example_32_kbit();
    let ac = AcLimits { t_aa_min: least, t_aa_max: 3500, ..AcLimits::STANDARD };
    model.speed.iter_mut().for_each(|grade| (grade.ac, grade.scl_hz) = (ac, 100_000));
    let rig = Rig::new(RigConfig::default().with_scl_hz(100_000).with_seed(seed));
    for other in 0..others {
        rig.attach(model.clone(), Straps::address(other + 1));
    }
    let chip = rig.attach(model, Straps::GROUND);
    rig.load(chip, 0, &[0x55; 64]);
    let mut bus = rig.bit_bang(WireConfig::IDEAL);
    let mut data = [0; 32];
    bus.write_read(0x50, &[0, 0], &mut data).unwrap();
    assert_eq!(data, [0x55; 32], "every bit is there before its clock");
    assert_eq!(timing(&rig), []);
    let (mut fell, mut high, mut times) = (0, true, Vec::new());
    for (at, line, level) in rig.waves() {
        match line {
            Line::Scl => (fell, high) = (if level { fell } else { at }, level),
            // The controller moves SDA right at the falling edge, or while SCL is high.
            Line::Sda if !high && at > fell => times.push(at - fell),
            Line::Sda => {}
        }
    }
    times
}

/// Source: X24C08: t_AA 300 to 3500 ns at 100 kHz, data-out hold t_DH 300 ns.
#[test]
fn l2_data_comes_out_between_the_published_times_by_seed() {
    let times = data_out(300, 1, 0);
    assert!(times.len() > 200 && times.iter().all(|ns| (300..=3500).contains(ns)), "{times:?}");
    assert!(times.iter().any(|ns| *ns < 700) && times.iter().any(|ns| *ns > 3100), "{times:?}");
    assert_eq!(times, data_out(300, 1, 0));
    assert_ne!(times, data_out(300, 2, 0));
    assert_ne!(times, data_out(300, 1, 1), "each chip draws its own");
    // Where no sheet states the least, each takes the longest time.
    assert!(data_out(0, 1, 0).iter().all(|ns| *ns == 3500));
}

/// Source: cards state such grades (`[[grade]]` with `max_c`); without a temperature only what holds at all of them does.
#[test]
fn w6_the_write_cycle_depends_on_supply_and_temperature() {
    let grade = |min_mv, min_c, max_c, max_ns| CycleGrade { min_mv, max_mv: 5500, min_c, max_c, max_ns };
    let mut model = ChipModel::example_32_kbit();
    model.write_cycle.max_ns = 10_000_000;
    model.write_cycle.grades = vec![
        grade(2500, None, Some(85), 5_000_000),
        grade(4500, None, None, 7_000_000),
        grade(2500, Some(0), Some(40), 4_000_000),
    ];
    for (mv, celsius, max_ns) in [
        (3300, None, 10_000_000),
        (3300, Some(85), 5_000_000),
        (3300, Some(86), 10_000_000),
        (3300, Some(25), 4_000_000),
        (3300, Some(-1), 5_000_000),
        (2499, Some(25), 10_000_000),
        (4500, None, 7_000_000),
        (4500, Some(41), 5_000_000),
    ] {
        let rig = Rig::new(RigConfig::default().with_supply_mv(mv));
        let chip = rig.attach(model.clone(), Straps::GROUND);
        rig.set_write_cycle(chip, CycleTime::Max);
        if let Some(celsius) = celsius {
            rig.set_temperature_c(celsius);
        }
        rig.bus().write(0x50, &[0, 0, 1]).unwrap();
        rig.advance_ns(max_ns - 1);
        assert!(rig.busy(chip), "{mv} mV, {celsius:?}");
        rig.advance_ns(1);
        assert!(!rig.busy(chip), "{mv} mV, {celsius:?}");
    }
}

/// V_POR at most 1.5 V, t_POFF at least 1 ms. Source: AT24CSW04X/08X, as in standards.toml, `practice.power`.
fn with_brown_out() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.supply.brown_out = Some(BrownOut { reset_mv: 1500, off_ns: 1_000_000 });
    model
}

/// Source: AT24CSW04X/08X.
#[test]
fn p1_a_dip_that_resets_nothing_keeps_the_pointer_and_loses_the_transfer() {
    for (mv, kept) in [(1500, true), (1499, false)] {
        let bench = Bench::new(with_brown_out());
        bench.rig.load(bench.chip, 0, &pattern(4096));
        bench.read(0x40, 2);
        bench.rig.set_supply_mv(mv);
        assert!(bench.rig.bus().write(0x50, &[]).is_err(), "silent below the read minimum");
        bench.rig.advance_ns(2_000_000);
        bench.rig.set_supply_mv(3300);
        assert_eq!(bench.rig.bus().write(0x50, &[]).is_ok(), kept, "after a reset the power-up time passes first");
        bench.rig.advance_ns(2_000_000);
        assert_eq!(notes(&bench.rig).contains(&Note::PowerUp), !kept);
        let next = bench.read_on(1);
        assert_eq!(next == pattern(4096)[0x42..0x43], kept, "{mv} mV");
    }
    // Data that waits for its STOP is lost either way.
    let bench = Bench::new(with_brown_out());
    let mut bus = bench.rig.bus().steps();
    bus.start().unwrap();
    assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte)));
    bench.rig.set_supply_mv(1600);
    bench.rig.set_supply_mv(3300);
    let _ = bus.stop();
    bench.wait();
    assert_eq!(bench.memory()[0], 0xFF);
}

/// Source: AT24CSW04X/08X: after a dip below V_POR go through a full power cycle, off for at least 1 ms.
#[test]
fn p1_after_too_short_a_reset_nothing_is_promised_until_a_full_power_cycle() {
    let mut answered = BTreeSet::new();
    for seed in 0..12 {
        for (off_ns, short) in [(999_999, true), (1_000_000, false)] {
            let rig = Rig::new(RigConfig::default().with_seed(seed));
            rig.attach(with_brown_out(), Straps::GROUND);
            rig.advance_ns(5_000_000);
            rig.set_supply_mv(1000);
            rig.advance_ns(off_ns);
            rig.set_supply_mv(3300);
            rig.advance_ns(2_000_000);
            let answers = rig.bus().write(0x50, &[]).is_ok();
            let told = rig.incidents().iter().any(|incident| incident.text.contains("off for 999999 ns"));
            assert_eq!(told, short);
            assert!(answers || short);
            if short {
                answered.insert(answers);
            }
            rig.power_cycle();
            assert!(rig.bus().write(0x50, &[]).is_ok(), "a full power cycle heals it");
        }
    }
    assert_eq!(answered.len(), 2, "drawn");
}

/// A board that was off for long starts properly; from the supply on that resets the part it has nothing to start from.
#[test]
fn p5_a_part_that_was_off_when_it_was_attached_starts_with_its_power_up_time() {
    for (model, reset_mv) in [(with_brown_out(), 1500), (ChipModel::example_32_kbit(), 1700)] {
        for mv in [0, reset_mv - 1, reset_mv] {
            let rig = Rig::new(RigConfig::default().with_supply_mv(mv));
            rig.attach(model.clone(), Straps::GROUND);
            rig.set_supply_mv(3300);
            let was_on = mv == reset_mv;
            assert_eq!(notes(&rig), if was_on { vec![] } else { vec![Note::PowerUp] }, "{mv} mV");
            rig.advance_ns(model.power_up_ns - 2_500);
            assert_eq!(rig.bus().write(0x50, &[]).is_ok(), was_on, "{mv} mV");
            rig.advance_ns(2_500);
            assert!(rig.bus().write(0x50, &[]).is_ok(), "{mv} mV");
            assert_eq!(rig.incidents(), []);
        }
    }
}

/// Source: UM10204 Rev.6 3.1.9 (clock stretching).
#[test]
fn another_device_stretches_the_clock_and_the_chips_wait() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.attach_stretching(0x1E, "sensor", 40_000);
    let mut bus = rig.bit_bang(WireConfig::TYPICAL).waiting(1_000_000);
    let before = rig.now_ns();
    bus.write(0x1E, &[1, 2, 3]).unwrap();
    let lasted = rig.now_ns() - before;
    assert!((4 * 40_000..4 * 66_000).contains(&lasted), "four bytes in {lasted} ns");
    // To the chips this was a slow clock; they go on as ever, and the device lets go of SCL.
    let before = rig.now_ns();
    bus.write(0x50, &[0, 0x10, 0xAB]).unwrap();
    assert!(rig.now_ns() - before < 150_000);
    rig.advance_ns(5_000_000);
    assert_eq!(rig.memory(chip)[0x10], 0xAB);
    assert_eq!(rig.incidents(), []);
    let writes = rig.trace().iter().filter(|event| matches!(event.kind, EventKind::Write { acked: true, .. })).count();
    assert_eq!(writes, 6);
    // A controller that does not wait clocks into it, and gives up in time.
    let mut hasty = rig.bit_bang(WireConfig::TYPICAL);
    assert_eq!(hasty.write(0x1E, &[1]), Err(BitBangError::SclHeld));
    // At byte level it costs the same time.
    let rig = Rig::new(RigConfig::default());
    rig.attach_stretching(0x1E, "sensor", 40_000);
    rig.bus().write(0x1E, &[1, 2, 3]).unwrap();
    assert_eq!(rig.now_ns(), 2500 + 4 * (22_500 + 40_000 - 1375) + 2500);
}

/// Source: AT34C04, Microchip online edition: bus time-out 25 to 35 ms.
#[test]
fn l6_a_stretched_clock_runs_into_the_time_out_of_a_part() {
    for (stretch_ns, timed_out) in [(24_000_000, false), (26_000_000, true)] {
        let rig = Rig::new(RigConfig::default());
        rig.attach(ChipModel { bus_timeout_ns: 25_000_000, ..ChipModel::example_32_kbit() }, Straps::GROUND);
        rig.attach_stretching(0x1E, "sensor", stretch_ns);
        rig.bit_bang(WireConfig::IDEAL).waiting(100_000_000).write(0x1E, &[1]).unwrap();
        assert_eq!(notes(&rig).contains(&Note::TimedOut), timed_out, "{stretch_ns} ns");
    }
}

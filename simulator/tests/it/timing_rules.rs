//! Rule L4: the AC limits of the chips and of the bus mode.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::AcLimits;
use pagewise_simulator::{ChipModel, Hazard, Rig, RigConfig, Straps, TimingParameter, WireConfig};

/// Source: UM10204 Rev.6, bus table, as in PCA9698 Rev.3 Table 15.
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

/// Source: UM10204 Rev.6, bus table, as in PCA9698 Rev.3 Table 15.
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

/// Source: UM10204 Rev.6, bus table, as in PCA9698 Rev.3 Table 15.
#[test]
fn l4_a_slow_rise_is_reported() {
    // 10 kilohm and 400 pF: 3.4 us.
    let config = WireConfig { pull_up_ohm: 10_000, capacitance_pf: 400, ..WireConfig::TYPICAL };
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), config);
    let _ = bus.write(0x50, &[0, 0]);
    assert_eq!(timing(&bench.rig)[0], (false, TimingParameter::Rise, 300, 3389));
}

/// Source: UM10204 Rev.6, bus table, as in PCA9698 Rev.3 Table 15.
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

/// Source: UM10204 Rev.6, bus table, as in PCA9698 Rev.3 Table 15.
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

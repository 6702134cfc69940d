//! What is attached to a running bus leaves it alone; both levels share one log of the lines; limits are measured from
//! the edges that a chip sees.

use crate::common::*;
use crate::traces::{decode, shown};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::I2c;
use pagewise_simulator::{
    BitBang, ChipModel, ClockPlan, EventKind, Fault, Faults, Hazard, Line, Rig, RigConfig, Straps, TimingParameter,
    WireConfig,
};
use proptest::prelude::*;

fn hazards(rig: &Rig) -> Vec<Hazard> {
    rig.finish().iter().map(|incident| incident.hazard).collect()
}

#[test]
fn l5a_a_device_attached_in_the_middle_of_a_transfer_changes_nothing() {
    for attach in [false, true] {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
        let spikes = [50_300, 60_300].map(|at_ns| Fault::Spike { line: Line::Scl, at_ns, lasts_ns: 20 });
        bench.rig.set_faults(Faults { script: spikes.to_vec(), ..Faults::default() }).unwrap();
        bus.start().unwrap();
        assert!([0xA0, 0, 0x20, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        let (waves, hits) = (bench.rig.waves(), bench.rig.fault_hits());
        assert!(waves.len() > 60 && hits.len() == 4, "{} {}", waves.len(), hits.len());
        if attach {
            bench.rig.attach(ChipModel::example_2_kbit(), Straps::address(3));
            bench.rig.attach_other(0x1E, "sensor");
            drop(bench.rig.wire(WireConfig::TYPICAL).scl());
        }
        assert_eq!((bench.rig.waves(), bench.rig.fault_hits()), (waves, hits));
        assert!(bus.send(0x22).unwrap());
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0x20..0x22], [0x11, 0x22], "attached: {attach}");
        assert_eq!(bench.rig.fault_hits().len(), 4);
    }
}

#[test]
fn a_device_attached_to_a_running_bus_takes_part_from_the_next_start_on() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bus.start().unwrap();
    assert!(bus.send(0xA0).unwrap());
    let late = bench.rig.attach(ChipModel::example_2_kbit(), Straps::address(3));
    bench.rig.attach_other(0x1E, "sensor");
    assert!(bus.send(0).unwrap() && bus.send(0).unwrap());
    bus.stop().unwrap();
    bus.write(0x53, &[0x10, 0x77]).unwrap();
    bus.write(0x1E, &[1, 2, 3]).unwrap();
    bench.wait();
    assert_eq!(bench.rig.memory(late)[0x10], 0x77);
}

#[test]
fn faults_that_are_over_do_not_happen_when_a_script_is_set_or_lines_are_laid() {
    let rig = Rig::new(RigConfig::default());
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.advance_ns(1_000_000);
    let over = [
        Fault::Spike { line: Line::Sda, at_ns: 1_000, lasts_ns: 500 },
        Fault::SdaLow { from_ns: 5_000, until_ns: 9_000 },
        Fault::SdaLow { from_ns: 5_000, until_ns: 1_000_000 },
        Fault::Spike { line: Line::Sda, at_ns: 1_005_000, lasts_ns: 0 },
        Fault::SclLow { from_ns: 999_000, until_ns: 1_010_000 },
    ];
    rig.set_faults(Faults { script: over.to_vec(), ..Faults::default() }).unwrap();
    let mut scl = rig.wire(WireConfig::IDEAL).scl();
    rig.advance_ns(100);
    assert!(scl.is_low().unwrap(), "the one that goes on holds its line");
    rig.advance_ns(20_000);
    assert!(scl.is_high().unwrap());
    assert_eq!(rig.fault_hits().len(), 2, "its beginning and its end");
    rig.bit_bang(WireConfig::IDEAL).write(0x50, &[0, 0, 1]).unwrap();
    rig.advance_ns(10_000_000);
    assert_eq!(rig.memory(chip)[0], 1);
}

proptest! {
    #![proptest_config(cases(48))]

    #[test]
    fn waves_of_a_program_at_both_levels_decode_to_its_trace(
        steps in prop::collection::vec((any::<bool>(), any::<u8>(), 0..9_000_u64, any::<bool>()), 1..14),
    ) {
        let rig = Rig::new(RigConfig::default());
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        let mut pins = rig.bit_bang(WireConfig::TYPICAL);
        for (at_the_wire, byte, wait_us, faster) in steps {
            rig.set_scl_hz(if faster { 400_000 } else { 100_000 });
            let mut got = [0; 2];
            let _ = if at_the_wire {
                pins.write(0x50, &[0, byte, byte]).is_ok() | pins.write_read(0x50, &[0, byte], &mut got).is_ok()
            } else {
                rig.bus().write(0x50, &[0, byte, byte]).is_ok() | rig.bus().write_read(0x50, &[0, byte], &mut got).is_ok()
            };
            rig.advance_ns(2_000 + wait_us * 1_000);
        }
        prop_assert_eq!(decode(&rig.waves()), shown(&rig.trace()));
    }
}

#[test]
fn waves_begin_anew_with_the_trace() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bus.write(0x50, &[0, 0]).unwrap();
    bus.start().unwrap();
    assert!(bus.send(0xA0).unwrap());
    bench.rig.set_trace(true);
    // SCL is low in the middle of a transfer, and SDA while the chip acknowledges.
    let lines: Vec<(Line, bool)> = bench.rig.waves().into_iter().map(|(_, line, level)| (line, level)).collect();
    assert_eq!(lines, [(Line::Scl, false), (Line::Sda, false)]);
    bench.rig.set_trace(false);
    bus.stop().unwrap();
    assert_eq!(bench.rig.waves().len(), 2, "nothing is kept while the trace is off");
}

#[test]
fn l5b_a_filtered_spike_on_scl_is_no_short_clock() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    // One in the low and one in the high part of some clock.
    for (at_ns, lasts_ns) in [(15_000, 30), (16_500, 40)] {
        let spike = Fault::Spike { line: Line::Scl, at_ns, lasts_ns };
        bench.rig.set_faults(Faults { script: vec![spike], ..Faults::default() }).unwrap();
        bench.rig.advance_ns(1_000);
    }
    bus.write(0x50, &[0, 0, 1]).unwrap();
    assert_eq!((timing(&bench.rig), bench.hazards()), (vec![], vec![]));
}

#[test]
fn l5b_the_rate_is_that_of_the_edges_and_not_a_nominal_one() {
    // A rig made for 1 MHz whose pins move at 100 kHz, at a supply that allows 400 kHz; and the other way round.
    for (nominal_hz, driven_hz, overclocked) in [(1_000_000, 100_000, false), (100_000, 1_000_000, true)] {
        let rig = Rig::new(RigConfig::default().with_scl_hz(nominal_hz).with_supply_mv(1_800));
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        let wire = rig.wire(WireConfig::IDEAL);
        let mut bus = BitBang::new(wire.sda(), wire.scl(), rig.delay(), driven_hz).unwrap();
        // At the higher rate the acknowledge bit comes too late for the controller.
        let _ = bus.write(0x50, &[0, 0]);
        assert_eq!(hazards(&rig).contains(&Hazard::Overclock), overclocked, "{driven_hz} Hz");
    }
}

#[test]
fn p2_limits_that_are_not_kept_corrupt_sampled_bits_by_seed() {
    // Low for less than 500 ns and high for less than 260 ns, but long enough for t_AA.
    let plan = |high_ns| ClockPlan { period_ns: 480 + high_ns, low_ns: 480, high_ns };
    let stored = |faults: bool, plan: ClockPlan| {
        let rig = Rig::new(RigConfig::default().with_seed(3));
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig.set_overclock_faults(faults);
        let mut found = Vec::new();
        for page in 0..32_u8 {
            let mut bytes = vec![page >> 3, page << 5];
            bytes.extend([0x5A; 32]);
            let _ = rig.bit_bang(WireConfig::IDEAL).with_plan(plan).write(0x50, &bytes);
            rig.advance_ns(10_000_000);
            found.extend_from_slice(&rig.memory(chip)[usize::from(page) * 32..][..32]);
        }
        found
    };
    let legal = ClockPlan::for_scl_hz(1_000_000);
    assert_eq!((stored(false, plan(200)), stored(true, legal)), (vec![0x5A; 1024], vec![0x5A; 1024]));
    let found = stored(true, plan(200));
    // One bit of 32: of the written bytes some lack a one and some have one too many, most have neither.
    let count = |of: fn(u8) -> bool| found.iter().filter(|byte| of(**byte)).count();
    let (right, lost, gained) =
        (count(|byte| byte == 0x5A), count(|byte| !byte & 0x5A != 0), count(|byte| byte != 0xFF && byte & !0x5A != 0));
    assert!(right > 100 && lost > 20 && gained > 20, "{right} {lost} {gained} of 1024");
    assert_eq!(stored(true, plan(200)), found, "the same by seed");
}

#[test]
fn every_limit_that_is_not_kept_is_an_incident() {
    let names =
        |rig: &Rig| rig.finish().into_iter().map(|incident| (incident.hazard, incident.text)).collect::<Vec<_>>();
    let slow = |pull_up_ohm, capacitance_pf, supply_mv| {
        let rig = Rig::new(RigConfig::default().with_scl_hz(100_000).with_supply_mv(supply_mv));
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        let config = WireConfig { pull_up_ohm, capacitance_pf, mode: None, ..WireConfig::TYPICAL };
        let _ = rig.bit_bang(config).write(0x50, &[0, 0]);
        names(&rig)
    };
    assert_eq!(slow(4_700, 50, 3_300), []);
    let found = slow(1_000_000, 400, 3_300);
    let never = "bus: t_R is 338920 ns, must be at most 300 ns";
    assert!(found.contains(&(Hazard::BusTiming, never.to_owned())), "{found:?}");
    // R_P(min) = (V_DD - V_OL(max)) / I_OL = 2.9 V / 3 mA = 967 ohm. Source: UM10204 section 7.1.
    let strong = "bus: a pull-up of 966 ohm lets 3002 uA flow, pins sink 3000 uA; a low is not low any more";
    assert_eq!(slow(966, 30, 3_300), [(Hazard::BusTiming, strong.to_owned())]);
    assert_eq!(slow(967, 30, 3_300), []);
    assert_eq!(slow(1_000, 30, 3_400), [], "3 mA are allowed");
    let shorted = "bus: a pull-up of 1 ohm lets 2900000 uA flow, pins sink 3000 uA; a low is not low any more";
    assert_eq!(slow(1, 30, 3_300), [(Hazard::BusTiming, shorted.to_owned())]);
}

/// Source: UM10204 section 7.1. The line that flows too much is SDA, from the START on.
#[test]
fn l1_a_pull_up_that_is_too_strong_is_found_at_the_first_start() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig { pull_up_ohm: 966, ..WireConfig::IDEAL });
    bus.write(0x50, &[0, 0]).unwrap();
    let started = bench.rig.trace().iter().find(|event| event.kind == EventKind::Start).unwrap().at_ns;
    assert_eq!(bench.rig.incidents().iter().map(|incident| incident.at_ns).collect::<Vec<_>>(), [started]);
}

#[test]
fn faults_that_are_taken_away_leave_a_line_that_rises_its_time() {
    let rig = Rig::new(RigConfig::default());
    let mut sda = rig.wire(WireConfig::TYPICAL).sda();
    sda.set_low().unwrap();
    rig.advance_ns(1_000);
    sda.set_high().unwrap();
    rig.clear_faults();
    rig.advance_ns(WireConfig::TYPICAL.release_ns() - 1);
    assert!(sda.is_low().unwrap());
    rig.advance_ns(1);
    assert!(sda.is_high().unwrap());
}

#[test]
fn a_fault_holds_the_line_that_it_names_and_not_the_other_one() {
    let (from_ns, until_ns) = (1_000, 2_000);
    for (fault, held) in
        [(Fault::SdaLow { from_ns, until_ns }, Line::Sda), (Fault::SclLow { from_ns, until_ns }, Line::Scl)]
    {
        let rig = Rig::new(RigConfig::default());
        let wire = rig.wire(WireConfig::IDEAL);
        rig.set_faults(Faults { script: vec![fault], ..Faults::default() }).unwrap();
        rig.advance_ns(1_500);
        // The controller moves both lines meanwhile.
        for mut pin in [wire.sda(), wire.scl()] {
            pin.set_low().unwrap();
            pin.set_high().unwrap();
        }
        assert_eq!(wire.sda().is_low().unwrap(), held == Line::Sda);
        assert_eq!(wire.scl().is_low().unwrap(), held == Line::Scl);
        rig.advance_ns(1_500);
        assert!(wire.sda().is_high().unwrap() && wire.scl().is_high().unwrap());
    }
}

#[test]
fn a_set_up_time_that_is_not_kept_is_an_incident_of_the_chip() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bus.start().unwrap();
    let wire = bench.rig.wire(WireConfig::IDEAL);
    let (mut sda, mut scl) = (wire.sda(), wire.scl());
    sda.set_low().unwrap();
    bench.rig.advance_ns(1_500);
    sda.set_high().unwrap();
    bench.rig.advance_ns(20);
    scl.set_high().unwrap();
    bench.rig.advance_ns(1_000);
    scl.set_low().unwrap();
    bench.rig.advance_ns(1_000);
    let broken = (true, TimingParameter::SetupData, 50, 20);
    assert_eq!(timing(&bench.rig), [broken]);
    let text = "example-32k: t_SU;DAT is 20 ns, must be at least 50 ns";
    assert!(bench.rig.incidents().iter().any(|i| i.hazard == Hazard::BusTiming && i.text == text));
}

#[test]
fn lines_without_supply_are_low_and_their_return_is_no_stop() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bus.start().unwrap();
    assert!(bus.send(0xA0).unwrap());
    bench.rig.set_supply_mv(0);
    bench.rig.advance_ns(1_000);
    let wire = bench.rig.wire(WireConfig::TYPICAL);
    wire.scl().set_high().unwrap();
    wire.sda().set_high().unwrap();
    bench.rig.advance_ns(1_000);
    assert!(wire.scl().is_low().unwrap() && wire.sda().is_low().unwrap(), "nobody pulls them");
    bench.rig.restore_supply_mv(3_300);
    bench.rig.advance_ns(1_000);
    assert!(wire.scl().is_high().unwrap() && wire.sda().is_high().unwrap());
    let mut bus = bench.rig.bit_bang(WireConfig::TYPICAL);
    bench.rig.advance_ns(10_000);
    bus.write(0x50, &[0, 0]).unwrap();
    let bus_events = |event: &&pagewise_simulator::Event| {
        matches!(event.kind, EventKind::Start | EventKind::RepeatedStart | EventKind::Stop)
    };
    let kinds: Vec<EventKind> = bench.rig.trace().iter().filter(bus_events).map(|event| event.kind).collect();
    assert_eq!(kinds, [EventKind::Start, EventKind::Start, EventKind::Stop]);
}

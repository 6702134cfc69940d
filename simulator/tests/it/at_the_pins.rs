//! Rules L1 to L5b, W5 and P2 at the pins of a chip: between which edges it does what, and what is measured there.

use crate::common::*;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::CutByte;
use pagewise_simulator::{
    BitBang, ChipModel, EventKind, Fault, Faults, Line, Note, Rig, RigConfig, Straps, TimingParameter, WireConfig,
};

/// L1: a line that needs longer than any time that counts never rises.
#[test]
fn l1_a_line_without_a_pull_up_to_speak_of_never_rises() {
    let config = WireConfig { pull_up_ohm: u32::MAX, capacitance_pf: u32::MAX, ..WireConfig::TYPICAL };
    assert_eq!((config.rise_ns(), config.release_ns()), (u32::MAX.into(), u32::MAX.into()));
}

/// L2: data is valid between the least and the longest t_AA after falling SCL, any time in between by seed.
#[test]
fn l2_data_comes_between_the_least_and_the_longest_t_aa() {
    for (least, most, expected) in [(399, 400, vec![399, 400]), (400, 400, vec![400]), (0, 400, vec![400])] {
        let mut model = ChipModel::example_32_kbit();
        model.speed.iter_mut().for_each(|grade| (grade.ac.t_aa_min, grade.ac.t_aa_max) = (least, most));
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bench.rig.load(bench.chip, 0, &[0x55; 32]);
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap() && bus.send(0).unwrap() && bus.send(0).unwrap());
        bus.start().unwrap();
        assert!(bus.send(0xA1).unwrap());
        let from = bench.rig.now_ns();
        (0..24).for_each(|_| assert_eq!(bus.receive(true).unwrap(), 0x55));
        let (mut fell, mut after) = (0, Vec::new());
        for (at, line, level) in bench.rig.waves().into_iter().filter(|(at, ..)| *at >= from) {
            match (line, level) {
                (Line::Scl, false) => fell = at,
                // The controller moves its line when it lowers SCL.
                (Line::Sda, _) if fell > 0 && at > fell => after.push(at - fell),
                _ => {}
            }
        }
        assert!(after.len() > 100, "{}", after.len());
        after.sort_unstable();
        after.dedup();
        assert_eq!(after, expected);
    }
}

/// L4, L5b: what is measured is measured with the edges that the lines have now.
#[test]
fn l4_lines_that_are_laid_anew_are_measured_with_their_new_edges() {
    let rig = Rig::new(RigConfig::default());
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let _ = rig.wire(WireConfig::IDEAL);
    let wire = rig.wire(WireConfig { mode: None, ..WireConfig::TYPICAL });
    let (mut sda, mut scl, mut delay) = (wire.sda(), wire.scl(), rig.delay());
    sda.set_low().unwrap();
    delay.delay_ns(200);
    scl.set_low().unwrap();
    delay.delay_ns(1_000);
    // From SDA low until SCL begins to fall: the fall itself, 20 ns, is not hold time.
    assert_eq!(timing(&rig), [(true, TimingParameter::HoldStart, 260, 180)]);
}

/// L5: held SDA is a chip's in the middle of a byte that it drives; an acknowledge bit is not one.
#[test]
fn l5_a_chip_that_acknowledges_a_stopped_clock_does_not_hold_the_bus() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    bus.start().unwrap();
    for bit in (0..8).rev() {
        bus.clock(0xA0_u8 >> bit & 1 == 1).unwrap();
    }
    bench.rig.advance_ns(1_000);
    let mut scl = bench.rig.wire(WireConfig::IDEAL).scl();
    scl.set_high().unwrap();
    bench.rig.advance_ns(5_000_000);
    let (_, line, level) = bench.rig.waves().into_iter().rfind(|(_, line, _)| *line == Line::Sda).unwrap();
    assert_eq!((line, level), (Line::Sda, false), "it acknowledges");
    assert!(!notes(&bench.rig).contains(&Note::HoldsSda));
}

/// L5a: what is asked while an edge is being made shows that edge, and nothing that comes later.
#[test]
fn l5a_a_query_in_the_middle_of_an_edge_does_not_look_further() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bench.rig.load(bench.chip, 0, &[0; 8]);
    bench.rig.advance_ns(900_000);
    bus.start().unwrap();
    assert!(bus.send(0xA0).unwrap() && bus.send(0).unwrap() && bus.send(0).unwrap());
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    bus.clock(true).unwrap();
    bench.rig.advance_ns(2_000);
    let wire = bench.rig.wire(WireConfig::TYPICAL);
    wire.scl().set_high().unwrap();
    let now = bench.rig.now_ns();
    let rises = (now + WireConfig::TYPICAL.release_ns(), Line::Scl, true);
    assert_eq!(bench.rig.waves().last(), Some(&rises));
    assert!(!notes(&bench.rig).contains(&Note::HoldsSda), "a millisecond later");
    bench.rig.advance_ns(2_000_000);
    assert!(notes(&bench.rig).contains(&Note::HoldsSda));
}

/// P2: the rate is that of the shortest clock inside a byte.
#[test]
fn p2_a_rate_at_the_pins_is_noted_as_it_is_measured() {
    let rig = Rig::new(RigConfig::default().with_supply_mv(1_800));
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let wire = rig.wire(WireConfig::IDEAL);
    let mut bus = BitBang::new(wire.sda(), wire.scl(), rig.delay(), 1_000_000).unwrap();
    rig.advance_ns(50_000);
    bus.start().unwrap();
    for bit in (0..8).rev() {
        bus.clock(0xA0_u8 >> bit & 1 == 1).unwrap();
    }
    rig.advance_ns(10_000);
    let fast = Note::TooFast { scl_hz: 1_000_000, max_hz: 400_000 };
    assert!(notes(&rig).contains(&fast), "{:?}", notes(&rig));
}

/// W5: a spike in the clock of an acknowledge bit is a STOP after eight whole bits.
#[test]
fn w5_a_stop_in_the_clock_of_the_acknowledge_bit_cuts_a_whole_byte() {
    for (axis, stored) in [(CutByte::DropsAll, 0xFF), (CutByte::KeepsWhole, 0x11)] {
        let mut model = ChipModel::example_32_kbit();
        model.cut_byte = axis;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        // In the high part of the clock: START is 1, the header 27 and the byte 8 clocks.
        let at_ns = (1 + 27 + 8) * 2_500 + 1_375 + 300;
        let spike = Fault::Spike { line: Line::Sda, at_ns, lasts_ns: 200 };
        bench.rig.set_faults(Faults { script: vec![spike], ..Faults::default() }).unwrap();
        let _ = bus.write(0x50, &[0, 0, 0x11]);
        let cut = notes(&bench.rig).into_iter().find(|note| matches!(note, Note::ByteCut { .. }));
        assert_eq!(cut, Some(Note::ByteCut { read: false, bits: 8 }), "{axis:?}");
        bench.wait();
        assert_eq!(bench.memory()[0], stored, "{axis:?}");
    }
}

/// A foreign device reads as zeros until it is not acknowledged, and takes no part in what is not its own.
#[test]
fn a_foreign_device_drives_only_its_own_reads() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::TYPICAL);
    bench.rig.attach_other(0x1E, "sensor");
    let mut data = [0xFF; 2];
    bus.read(0x1E, &mut data).unwrap();
    assert_eq!(data, [0, 0]);
    bench.rig.load(bench.chip, 0, &[0xC3, 0x3C]);
    bus.write_read(0x50, &[0, 0], &mut data).unwrap();
    assert_eq!(data, [0xC3, 0x3C]);
    let bytes = |event: &pagewise_simulator::Event| match event.kind {
        EventKind::Read { byte, acked } => Some((byte, acked)),
        _ => None,
    };
    let read: Vec<_> = bench.rig.trace().iter().filter_map(bytes).collect();
    assert_eq!(read, [(0, true), (0, false), (0xC3, true), (0x3C, false)]);
}

//! What incidents say, word by word.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::AcLimits;
use pagewise_simulator::{ChipId, ChipModel, Hazard, Rig, RigConfig, Straps, WireConfig};

/// Chip, hazard and words.
fn told(rig: &Rig) -> Vec<(Option<ChipId>, Hazard, String)> {
    rig.finish().into_iter().map(|incident| (incident.chip, incident.hazard, incident.text)).collect()
}

#[test]
fn a_header_that_is_too_long_counts_its_bytes() {
    for (header, sent) in [(&[0x00, 0x10][..], 2), (&[0x00, 0x00, 0x10], 3)] {
        let bench = Bench::new(ChipModel::example_2_kbit());
        bench.rig.bus().write_read(0x50, header, &mut [0]).unwrap();
        let text = format!("example-2k: {sent} word-address bytes sent, 1 expected; the rest was taken as data");
        assert_eq!(told(&bench.rig), [(Some(bench.chip), Hazard::AddressWidth, text)]);
    }
    let bench = e32();
    bench.rig.bus().write(0x50, &[0x10]).unwrap();
    let text = "example-32k: 1 word-address byte(s) sent, 2 expected".to_string();
    assert_eq!(told(&bench.rig), [(Some(bench.chip), Hazard::AddressWidth, text)]);
}

/// Nothing follows that START: what it dropped is told at the end of the program.
#[test]
fn data_that_a_last_start_dropped() {
    let bench = e32();
    let mut bus = bench.rig.bus().steps();
    bus.start().unwrap();
    assert!([0xA0, 0, 0x20, 7].into_iter().all(|byte| bus.send(byte)));
    bus.start().unwrap();
    let text = "1 latched byte(s) for 0x0020 dropped by a START before STOP".to_string();
    assert_eq!(told(&bench.rig), [(Some(bench.chip), Hazard::RestartAbort, text)]);
}

#[test]
fn wear_is_told_at_half_of_the_rating_and_at_the_whole() {
    let bench = Bench::new(ChipModel { endurance_cycles: 1000, ..ChipModel::example_32_kbit() });
    bench.rig.set_wear(bench.chip, 0, 499);
    bench.store(0, &[1]);
    bench.rig.set_wear(bench.chip, 0, 999);
    bench.store(0, &[2]);
    let words = ["has used half of its rating: 500", "has reached its rating: 1000"];
    let expected = words.map(|what| {
        let text = format!("example-32k: 0x0000 {what} of 1000 write cycles");
        (Some(bench.chip), Hazard::WearOut, text)
    });
    assert_eq!(told(&bench.rig), expected);
}

/// SCL at 400 kHz is low for 1375 ns: too short for a bus of Standard-mode, and for a part with such a limit of its own.
#[test]
fn a_limit_of_the_bus_is_bus_timing_and_one_of_the_part_is_overclock() {
    let run = |mode: Option<AcLimits>, own: AcLimits| {
        let mut model = ChipModel::example_32_kbit();
        model.speed.iter_mut().for_each(|grade| grade.ac = own);
        let (bench, mut bus) = wired(model, WireConfig { mode, ..WireConfig::IDEAL });
        bus.write(0x50, &[0, 0]).unwrap();
        let low = told(&bench.rig).into_iter().filter(|(.., text)| text.contains("t_LOW"));
        low.map(|(chip, hazard, text)| (chip.is_some(), hazard, text)).collect::<Vec<_>>()
    };
    let short = "t_LOW is 1375 ns, must be at least 4700 ns";
    let of_bus = run(Some(AcLimits::STANDARD), AcLimits::FAST);
    assert_eq!(of_bus, [(false, Hazard::BusTiming, format!("bus: {short}"))]);
    let of_part = run(None, AcLimits { t_low: 4700, ..AcLimits::FAST });
    assert_eq!(of_part, [(true, Hazard::Overclock, format!("example-32k: {short}"))]);
    assert_eq!(run(Some(AcLimits::FAST), AcLimits::FAST), []);
}

/// A current address read, and a read without bytes, use no address for data.
#[test]
fn an_ignored_address_bit_counts_where_it_was_meant_to_choose_data() {
    let seen = |use_address: fn(&mut pagewise_simulator::RigBus, u8)| {
        let bench = Bench::new(ignores_low_bits());
        bench.rig.load(bench.chip, 0, &[0xFF; 256]);
        let mut bus = bench.rig.bus();
        [0x50, 0x51].into_iter().for_each(|address| use_address(&mut bus, address));
        bench.wait();
        told(&bench.rig).into_iter().map(|(.., text)| text).collect::<Vec<_>>()
    };
    let text = "ignores-low-bits: device addresses 0x50 and 0x51 reach the same bytes, the part ignores the difference";
    assert_eq!(seen(|bus, address| bus.write_read(address, &[0], &mut [0]).unwrap()), [text]);
    let after_a_stop = |bus: &mut pagewise_simulator::RigBus, address| {
        bus.write(address, &[0]).unwrap();
        bus.read(address, &mut [0]).unwrap();
    };
    assert_eq!(seen(after_a_stop), [] as [String; 0]);
    assert_eq!(seen(|bus, address| bus.write_read(address, &[0], &mut []).unwrap()), [] as [String; 0]);
}

#[test]
fn nobody_is_told_of_a_legal_program() {
    let rig = Rig::new(RigConfig::default());
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.bit_bang(WireConfig::TYPICAL).write_read(0x50, &[0, 0], &mut [0; 3]).unwrap();
    assert_eq!(told(&rig), []);
}

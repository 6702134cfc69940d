//! Conditions at the edges of rules, each of which once could be broken without any test noticing.

use crate::common::*;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{ByteRange, PartlyProtected, ProtectedAnswer};
use pagewise_simulator::{
    BusFault, ChipModel, Fault, Faults, Hazard, Level, Note, Rig, RigConfig, Straps, SupplyProfile, TimingParameter,
    WireConfig,
};

#[test]
fn g1_the_pointer_of_a_region_moves_on_after_the_byte_that_is_not_acknowledged() {
    let bench = Bench::new(identification_page());
    bench.rig.load_region(bench.chip, 0, &[10, 11, 12, 13]);
    let mut bus = bench.rig.bus();
    let mut byte = [0];
    bus.write_read(0x58, &[0, 0], &mut byte).unwrap();
    assert_eq!(byte, [10]);
    for expected in [11, 12, 13] {
        bus.read(0x58, &mut byte).unwrap();
        assert_eq!(byte, [expected]);
    }
}

#[test]
fn g1_wp_covers_the_identification_page_where_it_covers_the_whole_array() {
    for (len, stored) in [(4096, false), (4095, true)] {
        let mut model = identification_page();
        model.write_protect.pin_range.len = len;
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.rig.bus().write(0x58, &[0, 0, 0x55]).unwrap();
        assert_eq!(bench.rig.busy(bench.chip), stored, "{len} bytes");
        bench.wait();
        assert_eq!(bench.rig.region(bench.chip, 0)[0] == 0x55, stored);
        assert_eq!(bench.hazards().contains(&Hazard::WriteProtect), !stored);
    }
}

#[test]
fn p1_fram_below_the_write_minimum_acknowledges_and_does_not_store() {
    let mut model = fram();
    model.supply.write_min_mv = 2500;
    let bench = Bench::new(model);
    for (mv, stored) in [(2499, 0xFF), (2500, 0x77)] {
        bench.rig.set_supply_mv(mv);
        bench.rig.advance_ns(2_000_000);
        bench.rig.bus().write(0x50, &[0, 5, 0x77]).unwrap();
        assert_eq!(bench.memory()[5], stored, "{mv} mV");
    }
    assert_eq!(bench.hazards(), [Hazard::Undervoltage]);
}

#[test]
fn w8_fram_that_refuses_protected_data_takes_no_more_of_the_write() {
    let mut model = fram();
    model.write_protect.answer = ProtectedAnswer::NackData;
    model.write_protect.pin_range = ByteRange { start: 2, len: 1 };
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    let mut steps = bench.rig.bus().steps();
    steps.start().unwrap();
    let acks: Vec<bool> = [0xA0, 0, 1, 0x11, 0x22, 0x33].into_iter().map(|byte| steps.send(byte)).collect();
    steps.stop().unwrap();
    // The byte after the refused one lies outside of the range, and is refused all the same.
    assert_eq!(acks, [true, true, true, true, false, false]);
    assert_eq!(bench.memory()[1..4], [0x11, 0xFF, 0xFF]);
}

#[test]
fn w8_a_partly_protected_write_runs_a_cycle_where_something_is_stored_or_the_part_is_busy_all_the_same() {
    use PartlyProtected::{Nothing, UnprotectedOnly};
    use ProtectedAnswer::{AckBusy, AckReady};
    for (partial, answer, busy, stored) in [
        (UnprotectedOnly, AckReady, true, true),
        (UnprotectedOnly, AckBusy, true, true),
        (Nothing, AckReady, false, false),
        (Nothing, AckBusy, true, false),
    ] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.pin_range = ByteRange { start: 16, len: 4080 };
        (model.write_protect.partial, model.write_protect.answer) = (partial, answer);
        let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
        bench.write(14, &[1, 2, 3, 4, 5]).unwrap();
        assert_eq!(bench.rig.busy(bench.chip), busy, "{partial:?} {answer:?}");
        bench.wait();
        let expected = if stored { [1, 2, 0xFF, 0xFF, 0xFF] } else { [0xFF; 5] };
        assert_eq!(bench.memory()[14..19], expected, "{partial:?} {answer:?}");
        let said = Note::Protected { offset: 14, bytes: if stored { 3 } else { 5 }, partly: stored, acked: true };
        assert!(notes(&bench.rig).contains(&said), "{:?}", notes(&bench.rig));
    }
}

#[test]
fn l4_t_high_counts_outside_of_a_transfer_too() {
    let rig = Rig::new(RigConfig::default());
    rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let mut scl = rig.wire(WireConfig::IDEAL).scl();
    for high_ns in [260, 259] {
        scl.set_low().unwrap();
        rig.advance_ns(2_000);
        scl.set_high().unwrap();
        rig.advance_ns(high_ns);
    }
    scl.set_low().unwrap();
    rig.advance_ns(2_000);
    assert_eq!(timing(&rig), [(true, TimingParameter::High, 260, 259)]);
}

#[test]
fn l4_the_set_up_time_of_a_repeated_start_ends_where_sda_begins_to_fall() {
    for (wait_ns, kept) in [(260, true), (259, false)] {
        let rig = Rig::new(RigConfig::default());
        rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        let wire = rig.wire(WireConfig { capacitance_pf: 0, mode: None, ..WireConfig::TYPICAL });
        let (mut sda, mut scl) = (wire.sda(), wire.scl());
        let go = |pin: &mut pagewise_simulator::WirePin, high: bool, ns: u64| {
            if high { pin.set_high() } else { pin.set_low() }.unwrap();
            rig.advance_ns(ns);
        };
        go(&mut sda, false, 1_000);
        go(&mut scl, false, 1_000);
        go(&mut sda, true, 1_000);
        go(&mut scl, true, wait_ns);
        // SDA takes 20 ns to fall: the START comes 20 ns later, its set-up time has ended before.
        go(&mut sda, false, 1_000);
        let found = timing(&rig);
        let broken = [(true, TimingParameter::SetupStart, 260, 259)];
        assert_eq!(found, if kept { &[][..] } else { &broken[..] }, "{wait_ns} ns");
    }
}

#[test]
fn a_header_of_three_bytes_is_a_wrong_width_and_one_of_four_is_not() {
    for (header, hazard) in [(3, Hazard::AddressWidth), (4, Hazard::RestartAbort)] {
        let bench = Bench::new(ChipModel::example_2_kbit());
        bench.rig.bus().write_read(0x50, &[0, 1, 2, 3][..header], &mut [0]).unwrap();
        assert_eq!(bench.hazards(), [hazard], "{header} bytes");
    }
}

#[test]
fn a_header_that_was_refused_is_not_a_short_one() {
    let bench = e32();
    bench.rig.set_faults(Faults { script: vec![Fault::Nack { byte: 1 }], ..Faults::default() }).unwrap();
    assert!(bench.rig.bus().write(0x50, &[0, 0, 1]).is_err());
    assert_eq!(bench.hazards(), []);
}

#[test]
fn a_short_write_is_explained_and_a_header_before_a_read_is_not_taken_for_one() {
    // A one-byte program stores one byte: to the part both bytes are its word address.
    let bench = e32();
    bench.rig.meant(bench.chip, 0x10, &[0xAB]);
    bench.rig.bus().write(0x50, &[0x10, 0xAB]).unwrap();
    let loss = &bench.rig.explain()[0];
    assert_eq!(loss.cause, Some(Hazard::AddressWidth));
    assert!(loss.text.contains("taken as word address"), "{}", loss.text);
    // The same two bytes as the header of a read meant nothing to be stored.
    let bench = e32();
    bench.rig.meant(bench.chip, 0x10, &[0xAB]);
    bench.rig.bus().write_read(0x50, &[0x10, 0xAB], &mut [0]).unwrap();
    assert_eq!(bench.rig.explain()[0].cause, None);
}

#[test]
fn block_bits_above_two_header_bytes_are_understood() {
    // Firmware for a 1 Mbit part (two word-address bytes, a block-select bit above them) on a 16 kbit part.
    let bench = Bench::new(ChipModel::example_16_kbit());
    bench.rig.meant(bench.chip, 0x1_0020, &[7, 8]);
    bench.rig.bus().write(0x51, &[0x00, 0x20, 7, 8]).unwrap();
    bench.wait();
    assert_eq!(bench.rig.explain()[0].cause, Some(Hazard::AddressWidth));
}

#[test]
fn p3_a_chip_without_supply_lets_go_of_the_bus() {
    for (mv, held) in [(1700, true), (1699, false)] {
        let bench = e32();
        bench.rig.load(bench.chip, 0, &[0]);
        let mut bus = bench.rig.bus();
        bus.interrupted_read(0x50, &[0, 0], 0, 2).unwrap();
        bench.rig.set_supply_mv(mv);
        let fault = bus.write(0x50, &[0, 0]).map_err(|error| error.fault);
        assert_eq!(fault == Err(BusFault::SdaHeld), held, "{mv} mV: {fault:?}");
    }
}

#[test]
fn supply_steps_are_taken_by_time_in_whatever_order_they_are_written() {
    let profile =
        SupplyProfile::new().step(3_000_000, 3_000).ramp(1_000_000, 2_000_000, 0, 2_000).step(0, 0).step(500, 1);
    assert!(profile.steps().is_sorted_by_key(|(at, _)| *at), "{:?}", profile.steps());
    let rig = Rig::new(RigConfig::default());
    rig.set_supply_profile(&profile);
    for (until_ns, mv) in [(400, 0), (600, 1), (2_500_000, 2_000), (3_500_000, 3_000)] {
        rig.advance_ns(until_ns - rig.now_ns());
        assert_eq!(rig.supply_mv(), mv, "{until_ns} ns");
    }
    let falling = SupplyProfile::new().ramp(1_000, 7_400, 3_300, 100);
    let steps: Vec<_> = (0..=64).map(|step| (1_000 + 100 * step, 3_300 - 50 * step as u32)).collect();
    assert_eq!(falling.steps(), steps);
}

#[test]
fn two_address_bytes_sent_to_a_one_byte_part_are_a_wrong_width_before_they_are_a_page_wrap() {
    let bench = Bench::new(ChipModel::example_2_kbit());
    // Page by page of a two-byte part with pages of 16 bytes.
    for page in 0..4_u8 {
        let data: Vec<u8> = (0..16).map(|i| page << 4 | i).collect();
        bench.rig.meant(bench.chip, u32::from(page) * 16, &data);
        let _ = bench.rig.bus().write(0x50, &[&[0, page * 16], data.as_slice()].concat());
        bench.wait();
    }
    let found = bench.hazards();
    assert_eq!(found[0], Hazard::AddressWidth, "{found:?}");
    assert!(found.contains(&Hazard::PageWrap));
}

#[test]
fn a_write_to_another_place_than_meant_is_found_and_explained() {
    for (meant, sent, why) in [
        (0x0102, 0x0201, "the two word-address bytes were sent in the wrong order"),
        (0x0102, 0x0103, "the word address that was sent is off by one"),
        (0x0102, 0x0101, "the word address that was sent is off by one"),
        (0x0102, 0x0340, "another word address was sent"),
    ] {
        let bench = e32();
        bench.rig.meant(bench.chip, meant, &[5, 6, 7]);
        bench.store(sent, &[5, 6, 7]);
        let losses = bench.rig.explain();
        // One byte off, the neighbours hold each other's values.
        let text = format!("landed at 0x{sent:04X}: {why}");
        assert!(
            losses[0].text.starts_with("3 bytes meant for 0x0102") && losses[0].text.ends_with(&text),
            "{losses:?}"
        );
        assert_eq!(bench.hazards(), [Hazard::MisplacedWrite], "every loss is an incident");
    }
    // A copy that belongs where it is explains nothing about the one that is missing.
    let bench = e32();
    bench.rig.meant(bench.chip, 0x100, &[5, 6, 7]);
    bench.rig.meant(bench.chip, 0x200, &[5, 6, 7]);
    bench.store(0x200, &[5, 6, 7]);
    assert!(bench.rig.explain()[0].text.ends_with("no write for this place was seen on the bus"));
    let found = bench.rig.finish();
    assert_eq!(found[0].hazard, Hazard::MisplacedWrite);
    assert!(
        found[0].text.ends_with("3 bytes meant for 0x0100 not stored: no write for this place was seen on the bus")
    );
}

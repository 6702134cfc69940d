//! Rules B1 to B7 of the simulated chip.

use crate::common::*;
use embedded_hal::i2c::{Error, ErrorKind, I2c, NoAcknowledgeSource};
use pagewise_simulator::model::DeviceBit::{Fixed, Ignored};
use pagewise_simulator::model::{ByteRange, OpenPin};
use pagewise_simulator::{BusFault, ChipModel, EventKind, Hazard, Level, Note, Pin, Rig, RigConfig, Straps};

fn answering(rig: &Rig) -> Vec<u8> {
    (0..=0x7F).filter(|&address| rig.bus().write(address, &[]).is_ok()).collect()
}

/// Source: UM10204 Rev.6, notes to 3.1.10 and 3.2.7: any START resets the bus logic.
#[test]
fn b1_any_start_resets_the_bus_logic() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    // After one of two header bytes, and after data: the byte after the START is a device address again.
    bench.restarted_writes(0x50, &[&[0x00], &[0x00, 0x40, 1, 2], &[0x01, 0x00, 7]]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0x100], 7);
    assert_eq!(bench.memory()[0x40], 0xFF);
}

/// Source: 24XX256, DS20001203W (pins compared); 24XX01, DS20001711L (bits not looked at); 24XX16 and 24XX1025,
/// DS20001941L (block bits).
#[test]
fn b2_pins_select_exactly_one_of_eight_addresses() {
    for model in [ChipModel::example_32_kbit(), ChipModel::example_2_kbit()] {
        for pins in 0..8 {
            let bench = Bench::wired(model.clone(), Straps::address(pins));
            assert_eq!(answering(&bench.rig), [0x50 | pins]);
        }
    }
}

/// Source: 24XX256, DS20001203W (pins compared); 24XX01, DS20001711L (bits not looked at); 24XX16 and 24XX1025,
/// DS20001941L (block bits).
#[test]
fn b2_ignored_bits_answer_all_eight_addresses() {
    let bench = Bench::new(ignores_low_bits());
    assert_eq!(answering(&bench.rig), [0x50, 0x51, 0x52, 0x53, 0x54, 0x55, 0x56, 0x57]);
}

/// Source: 24XX256, DS20001203W (pins compared); 24XX01, DS20001711L (bits not looked at); 24XX16 and 24XX1025,
/// DS20001941L (block bits).
#[test]
fn b2_block_select_bits_are_part_of_the_word_address() {
    let bench = Bench::new(ChipModel::example_16_kbit());
    for block in 0..8_u8 {
        bench.rig.bus().write(0x50 | block, &[0x10, block]).unwrap();
        bench.wait();
    }
    let memory = bench.memory();
    assert!((0..8).all(|block| memory[block * 256 + 0x10] == block as u8));
}

/// Source: 24XX256, DS20001203W (pins compared); 24XX01, DS20001711L (bits not looked at); 24XX16 and 24XX1025,
/// DS20001941L (block bits).
#[test]
fn b2_block_select_bit_on_top_of_the_pins() {
    let bench = Bench::wired(block_bit_on_top(), Straps::address(0b10));
    assert_eq!(answering(&bench.rig), [0x52, 0x56]);
    bench.rig.bus().write(0x56, &[0x12, 0x34, 0xAB]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0x1_1234], 0xAB);
}

/// Source: 24XX256, DS20001203W (pins compared); 24XX01, DS20001711L (bits not looked at); 24XX16 and 24XX1025,
/// DS20001941L (block bits).
#[test]
fn b2_other_codes_fixed_and_inverted_bits() {
    assert_eq!(answering(&Bench::wired(other_code(), Straps::address(0b100)).rig), [0x10]);
    assert_eq!(answering(&Bench::wired(other_code(), Straps::address(0b011)).rig), [0x17]);
    let mut model = ChipModel::example_2_kbit();
    model.device_bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Fixed(true), Ignored, Fixed(false)];
    assert_eq!(answering(&Bench::new(model).rig), [0x54, 0x56]);
}

/// Source: AT24C128C, Microchip online edition (pull-down inside); 24XX256, DS20001203W (pins must be tied).
#[test]
fn b3_open_strap_is_drawn_per_power_up_and_reported() {
    let straps = Straps { a: [Level::Open, Level::Low, Level::Low], wp: Level::Low };
    let bench = Bench::wired(ChipModel::example_32_kbit(), straps);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..32 {
        let now = answering(&bench.rig);
        assert_eq!(now.len(), 1);
        seen.insert(now[0]);
        bench.rig.power_cycle();
    }
    assert_eq!(seen.into_iter().collect::<Vec<_>>(), [0x50, 0x51]);
    let reports = bench.rig.incidents().iter().filter(|i| i.hazard == Hazard::FloatingPin).count();
    assert_eq!(reports, 33);
}

/// Source: AT24C128C, Microchip online edition (pull-down inside); 24XX256, DS20001203W (pins must be tied).
#[test]
fn b3_pin_pulled_inside_reads_its_level_quietly() {
    for (open, address) in [(OpenPin::PulledLow, 0x50), (OpenPin::PulledHigh, 0x57)] {
        let mut model = ChipModel::example_32_kbit();
        model.open_strap = open;
        let bench = Bench::wired(model, Straps { a: [Level::Open; 3], wp: Level::Low });
        assert_eq!(answering(&bench.rig), [address]);
        assert!(bench.hazards().is_empty());
    }
}

/// Source: AT24C128C, Microchip online edition (pull-down inside); 24XX256, DS20001203W (pins must be tied).
#[test]
fn b3_pin_that_is_not_compared_may_float() {
    let mut model = ChipModel::example_16_kbit();
    model.write_protect.pin_range = ByteRange::EMPTY;
    let bench = Bench::wired(model, Straps { a: [Level::Open; 3], wp: Level::Open });
    assert!(bench.hazards().is_empty(), "WP of a part that protects nothing by it may, too");
}

/// Source: AT24C128C, Microchip online edition (pull-down inside); 24XX256, DS20001203W (pins must be tied).
#[test]
fn b3_open_wp_is_reported_when_it_protects_something() {
    let bench = Bench::wired(ChipModel::example_32_kbit(), Straps::GROUND.with_wp(Level::Open));
    let notes = bench.rig.trace();
    let wp = |e: &&pagewise_simulator::Event| {
        matches!(e.kind, EventKind::Chip { note: Note::PinFloats { pin: Pin::WriteProtect, .. }, .. })
    };
    assert_eq!(notes.iter().filter(wp).count(), 1);
    assert_eq!(bench.hazards(), [Hazard::FloatingPin]);
}

/// Source: PCA8581, 1997 Apr 02 (the top bit of the word-address byte is not looked at); 24XX64, DS21189T (three
/// upper bits).
#[test]
fn b4_word_address_bytes_are_acknowledged_most_significant_first() {
    for model in eeproms() {
        let bench = Bench::new(model);
        for offset in [0, 1, bench.model.capacity / 2 + 3, bench.model.capacity - 1] {
            bench.store(offset, &[0x5A]);
            assert_eq!(bench.memory()[offset as usize], 0x5A, "{} {offset:#x}", bench.model.name);
        }
        assert!(bench.hazards().is_empty(), "{}", bench.model.name);
    }
}

/// Source: PCA8581, 1997 Apr 02 (the top bit of the word-address byte is not looked at); 24XX64, DS21189T (three
/// upper bits).
#[test]
fn b4_bits_above_the_capacity_are_ignored_and_reported() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    bench.rig.bus().write(0x50, &[0xF1, 0x23, 9]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0x123], 9);
    assert_eq!(bench.hazards(), [Hazard::CapacityAlias]);
}

/// Source: PCA8581, 1997 Apr 02 (the top bit of the word-address byte is not looked at); 24XX64, DS21189T (three
/// upper bits).
#[test]
fn b4_unused_top_bit_of_a_one_kilobit_part() {
    let model = ChipModel::example_2_kbit().with_capacity(128);
    let bench = Bench::new(model);
    bench.store(0x7F, &[1]);
    assert!(bench.rig.incidents().is_empty());
    bench.rig.bus().write(0x50, &[0x85, 2]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[5], 2);
    assert_eq!(bench.hazards(), [Hazard::CapacityAlias]);
}

/// Source: UM10204 Rev.6: who is not meant releases SDA in the ninth clock.
#[test]
fn b5_nobody_answers_is_a_nack_of_the_address() {
    let rig = Rig::new(RigConfig::default());
    let error = rig.bus().write(0x50, &[0]).unwrap_err();
    assert_eq!(error.fault, BusFault::AddressNack);
    assert_eq!(error.kind(), ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
    // START, nine clocks, STOP.
    assert_eq!(rig.now_ns(), 11 * 2500);
}

/// Source: UM10204 Rev.6: SDA is the wired AND of all that drive it.
#[test]
fn b6_two_chips_that_answer_together_are_wired_and() {
    let rig = Rig::new(RigConfig::default());
    let a = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    let b = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    rig.load(a, 0, &[0b1100_1010]);
    rig.load(b, 0, &[0b1010_1100]);
    let mut data = [0];
    rig.bus().write_read(0x50, &[0, 0], &mut data).unwrap();
    assert_eq!(data, [0b1000_1000]);
    let incidents = rig.finish();
    assert_eq!(incidents.len(), 1);
    assert_eq!(incidents[0].hazard, Hazard::AddressConflict);
    // A write reaches both.
    rig.bus().write(0x50, &[0, 1, 0x55]).unwrap();
    rig.advance_ns(10_000_000);
    assert_eq!((rig.memory(a)[1], rig.memory(b)[1]), (0x55, 0x55));
}

/// Source: UM10204 Rev.6: SDA is the wired AND of all that drive it.
#[test]
fn b6_foreign_device_inside_the_range_of_a_chip_that_ignores_bits() {
    for trace in [true, false] {
        let bench = Bench::new(ignores_low_bits());
        bench.rig.attach_other(0x53, "clock");
        bench.rig.set_trace(trace);
        bench.read(0, 4);
        assert!(bench.rig.incidents().is_empty());
        let mut data = [0xEE; 4];
        bench.rig.bus().read(0x53, &mut data).unwrap();
        assert_eq!(data, [0; 4], "trace {trace}");
        assert_eq!(bench.hazards(), [Hazard::AddressConflict]);
    }
}

/// Source: UM10204 Rev.6, p.17 (reserved addresses) and 3.1.15 (START byte).
#[test]
fn b7_reserved_addresses_are_not_answered() {
    for model in eeproms().into_iter().filter(|model| model.word_address_bytes > 0) {
        let answers = answering(&Bench::new(model).rig);
        assert!(answers.iter().all(|address| (0x08..0x78).contains(address)));
    }
}

#[test]
fn an_eight_bit_address_is_refused_by_the_controller() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    let error = bench.rig.bus().write(0xA0, &[0]).unwrap_err();
    assert_eq!(error.fault, BusFault::AddressOutOfRange(0xA0));
    assert_eq!(bench.rig.now_ns(), 0);
    assert!(bench.rig.trace().is_empty());
}

#[test]
#[should_panic(expected = "a delay of 1 ns is beyond the end of virtual time")]
fn a_delay_beyond_the_end_of_virtual_time_is_refused() {
    let rig = Rig::new(RigConfig::default());
    rig.advance_ns(pagewise_simulator::time::END_NS);
    rig.advance_ns(1);
}

//! Rules G2 and G3: protection registers and bank select.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::DeviceBit::{Fixed, Ignored, Pin};
use pagewise_simulator::model::{ByteRange, Region, RegionAccess, RegionKind};
use pagewise_simulator::{ChipModel, Hazard, Level, Rig, Straps};

/// EE1002 style: serial-less 2 kbit part with permanent and reversible protection of the first half.
/// Source of the command bytes: standards.toml, spd.ee1002.
fn spd_2_kbit() -> ChipModel {
    let mut model = ChipModel::example_2_kbit();
    let half = ByteRange { start: 0, len: 128 };
    let permanent = [Fixed(false), Fixed(true), Fixed(true), Fixed(false), Pin(2), Pin(1), Pin(0)];
    let reversible = [Fixed(false), Fixed(true), Fixed(true), Fixed(false), Fixed(false), Fixed(false), Fixed(true)];
    model.regions = vec![
        Region {
            protects: half,
            ..region(RegionKind::PermanentProtection, Some(permanent), 0, 0, RegionAccess::ReadWrite)
        },
        Region {
            protects: half,
            ..region(RegionKind::ReversibleProtection, Some(reversible), 0, 0, RegionAccess::ReadWrite)
        },
    ];
    model
}

/// EE1004 style: two halves. Source: standards.toml, spd.ee1004.
fn spd_4_kbit() -> ChipModel {
    let mut model = ChipModel::example_2_kbit().with_capacity(512);
    model.page = 16;
    model.read_wrap = 256;
    let bank = [Fixed(false), Fixed(true), Fixed(true), Fixed(false), Fixed(true), Fixed(true), Ignored];
    model.regions = vec![region(RegionKind::BankSelect, Some(bank), 0, 0, RegionAccess::ReadWrite)];
    model
}

/// Source: standards.toml, spd.ee1002 and spd.ee1004: codes 0110, permanent and reversible protection, bank select.
#[test]
fn g2_permanent_protection_protects_for_good_and_silences_its_address() {
    let bench = Bench::new(spd_2_kbit());
    let mut bus = bench.rig.bus();
    // Set PSWP is 0110 A2 A1 A0 0, read PSWP the same with R/W = 1: acknowledged while not programmed.
    bus.write(0x30, &[]).unwrap();
    assert!(bus.read(0x30, &mut [0]).is_ok());
    bench.store(0x10, &[1]);
    bus.write(0x30, &[0, 0]).unwrap();
    assert!(bench.rig.busy(bench.chip), "the write time has to be waited for");
    bench.wait();
    assert!(bus.write(0x30, &[0, 0]).is_err());
    assert!(bus.read(0x30, &mut [0]).is_err());
    bench.rig.power_cycle();
    bench.store(0x10, &[2]);
    bench.store(0x80, &[3]);
    let memory = bench.memory();
    assert_eq!((memory[0x10], memory[0x80]), (1, 3));
}

/// Source: standards.toml, spd.ee1002 and spd.ee1004: codes 0110, permanent and reversible protection, bank select.
#[test]
fn g2_protection_register_is_itself_protected_by_wp() {
    let bench = Bench::wired(spd_2_kbit(), Straps::GROUND.with_wp(Level::High));
    bench.rig.bus().write(0x30, &[0, 0]).unwrap();
    bench.wait();
    assert!(bench.rig.bus().write(0x30, &[]).is_ok(), "still not programmed");
}

/// Source: standards.toml, spd.ee1002 and spd.ee1004: codes 0110, permanent and reversible protection, bank select.
#[test]
fn g2_reversible_protection_needs_high_voltage_and_can_be_cleared() {
    let bench = Bench::new(spd_2_kbit());
    let mut bus = bench.rig.bus();
    assert!(bus.write(0x31, &[0, 0]).is_err(), "no high voltage, no answer");
    bench.rig.set_a0_high_voltage(bench.chip, true);
    bus.write(0x31, &[0, 0]).unwrap();
    bench.wait();
    bench.rig.set_a0_high_voltage(bench.chip, false);
    assert!(bench.rig.region_locked(bench.chip, 1));
    bench.store(0x7F, &[1]);
    bench.store(0x80, &[2]);
    assert_eq!(bench.memory()[0x7F..0x81], [0xFF, 2]);
    bench.rig.set_a0_high_voltage(bench.chip, true);
    bus.write(0x33, &[0, 0]).unwrap();
    bench.wait();
    bench.rig.set_a0_high_voltage(bench.chip, false);
    bench.store(0x7F, &[1]);
    assert_eq!(bench.memory()[0x7F], 1);
}

/// Source: standards.toml, spd.ee1002 and spd.ee1004: codes 0110, permanent and reversible protection, bank select.
#[test]
fn g2_bank_select_is_followed_by_all_chips_and_reads_wrap_inside_the_half() {
    let rig = Rig::default();
    let a = rig.attach(spd_4_kbit(), Straps::address(0));
    let b = rig.attach(spd_4_kbit(), Straps::address(1));
    for chip in [a, b] {
        rig.load(chip, 0, &(0..512).map(|i| (i / 2) as u8).collect::<Vec<u8>>());
    }
    let mut bus = rig.bus();
    let mut data = [0; 2];
    bus.write_read(0x50, &[0x10], &mut data).unwrap();
    assert_eq!(data, [8, 8]);
    bus.write(0x37, &[0, 0]).unwrap();
    for address in [0x50, 0x51] {
        bus.write_read(address, &[0x10], &mut data).unwrap();
        assert_eq!(data, [136, 136]);
    }
    assert!(bus.read(0x36, &mut data).is_err(), "half 1 is chosen");
    assert!(rig.incidents().is_empty(), "a command to all chips is not a conflict");
    bus.write_read(0x50, &[0xFF], &mut data).unwrap();
    assert_eq!(data, [255, 128]);
    assert_eq!(rig.finish()[0].hazard, Hazard::ReadRollover);
    rig.power_cycle();
    bus.write_read(0x50, &[0x10], &mut data).unwrap();
    assert_eq!(data, [8, 8]);
}

/// Source: no sheet promises anything of a cut write cycle; models of behaviour, each selectable.
#[test]
fn p3_a_protection_that_was_being_set_is_set_or_not() {
    use pagewise_simulator::TornModel;
    for (torn, set) in [(TornModel::Old, false), (TornModel::New, true)] {
        let bench = Bench::new(spd_2_kbit());
        bench.rig.set_torn_model(torn, 0);
        bench.rig.bus().write(0x30, &[0, 0]).unwrap();
        bench.rig.advance_ns(1_000_000);
        bench.rig.power_cycle();
        assert_eq!(bench.rig.region_locked(bench.chip, 0), set);
    }
}

/// P1: a command is a write.
#[test]
fn g2_a_command_wants_the_supply_of_a_write() {
    let mut model = spd_2_kbit();
    (model.supply.read_min_mv, model.supply.write_min_mv) = (1700, 2500);
    for (mv, sets) in [(2499, false), (2500, true)] {
        let bench = Bench::new(model.clone());
        bench.rig.set_supply_mv(mv);
        bench.rig.bus().write(0x30, &[0, 0]).unwrap();
        assert_eq!(bench.rig.busy(bench.chip), sets, "{mv} mV");
    }
}

/// Source: standards.toml, spd.ee1002 and spd.ee1004: codes 0110, permanent and reversible protection, bank select.
#[test]
fn g2_a_command_without_its_data_byte_sets_nothing() {
    let bench = Bench::new(spd_2_kbit());
    bench.rig.bus().write(0x30, &[0]).unwrap();
    assert!(!bench.rig.busy(bench.chip));
    bench.wait();
    assert!(!bench.rig.region_locked(bench.chip, 0));
    assert!(bench.rig.bus().write(0x30, &[]).is_ok(), "still not programmed");
}

/// The device addresses with R/W of code 0110 that a part answers; no command is given.
fn answered(bench: &Bench) -> Vec<u8> {
    let mut bus = bench.rig.bus().steps();
    let mut answers = |control: &u8| {
        bus.start().unwrap();
        let acked = bus.send(*control);
        bus.stop().unwrap();
        acked
    };
    (0x60..=0x6F).filter(|control| answers(control)).collect()
}

/// Source: standards.toml, spd.ee1002 (set, clear and read bytes) and spd.ee1004, reply_table: what is set is not
/// acknowledged when it is set or read again; clearing always is.
#[test]
fn g2_a_part_answers_the_commands_that_its_registers_and_the_voltage_at_a0_allow() {
    let none: &[u8] = &[];
    for (reversible, permanent, at_supply, at_high_voltage) in [
        (false, false, &[0x60, 0x61, 0x63][..], &[0x62, 0x63, 0x66][..]),
        (true, false, &[0x60, 0x61], &[0x66]),
        (false, true, &[0x63], &[0x63]),
        (true, true, none, none),
    ] {
        let bench = Bench::new(spd_2_kbit());
        if reversible {
            bench.rig.set_a0_high_voltage(bench.chip, true);
            bench.rig.bus().write(0x31, &[0, 0]).unwrap();
            bench.wait();
            bench.rig.set_a0_high_voltage(bench.chip, false);
        }
        if permanent {
            bench.rig.bus().write(0x30, &[0, 0]).unwrap();
            bench.wait();
        }
        assert_eq!(answered(&bench), at_supply, "{reversible} {permanent}");
        bench.rig.set_a0_high_voltage(bench.chip, true);
        assert_eq!(answered(&bench), at_high_voltage, "{reversible} {permanent}");
    }
}

#[test]
fn g2_a_wp_pin_that_protects_nothing_lets_a_command_pass() {
    let mut model = spd_2_kbit();
    model.write_protect.pin_range = ByteRange::EMPTY;
    let bench = Bench::wired(model, Straps::GROUND.with_wp(Level::High));
    bench.rig.bus().write(0x30, &[0, 0]).unwrap();
    bench.wait();
    assert!(bench.rig.region_locked(bench.chip, 0));
    assert!(bench.hazards().is_empty());
}

/// Source: standards.toml, spd.ee1004 (0x6C and 0x6E choose the half, 0x6D is acknowledged while half 0 is chosen).
#[test]
fn g3_bank_select_keeps_the_place_of_the_pointer_inside_the_half() {
    for (word_address_bytes, capacity) in [(1, 512), (2, 0x2_0000), (1, 256)] {
        let mut model = spd_4_kbit();
        (model.word_address_bytes, model.capacity) = (word_address_bytes, capacity);
        model.write_protect.pin_range.len = capacity;
        let bench = Bench::new(model);
        let all = pattern(capacity as usize);
        bench.rig.load(bench.chip, 0, &all);
        let half = 1 << (8 * word_address_bytes) & (all.len() - 1);
        let mut bus = bench.rig.bus();
        let mut byte = [0];
        let header = [0x00, 0x9A];
        bus.write_read(0x50, &header[2 - usize::from(word_address_bytes)..], &mut byte).unwrap();
        assert!(bus.read(0x36, &mut byte).is_ok(), "half 0 is chosen");
        for (select, expected) in [(0x37, half + 0x9B), (0x36, 0x9C), (0x37, half + 0x9D)] {
            bus.write(select, &[0, 0]).unwrap();
            assert_eq!(bench.read_on(1), all[expected..=expected], "0x{expected:04X} of {capacity} bytes");
        }
        assert!(bus.read(0x36, &mut byte).is_err(), "half 1 is chosen");
    }
}

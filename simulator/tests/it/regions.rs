//! Rules G1 and G2: second regions and protection registers.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::DeviceBit::{Fixed, Ignored, Pin};
use pagewise_simulator::model::{ByteRange, DeviceBit, Region, RegionAccess, RegionKind};
use pagewise_simulator::{BusFault, ChipModel, Hazard, Level, Rig, Straps};

const CODE_1011: [DeviceBit; 7] = [Fixed(true), Fixed(false), Fixed(true), Fixed(true), Pin(2), Pin(1), Pin(0)];

fn region(kind: RegionKind, bits: Option<[DeviceBit; 7]>, word_address: u32, len: u32, access: RegionAccess) -> Region {
    Region {
        kind,
        device_bits: bits,
        word_address,
        address_mask: 0xFFFF,
        word_address_bytes: 1,
        len,
        access,
        protects: ByteRange::EMPTY,
        contents: Vec::new(),
        rolls_after: 0,
        shares_pointer: false,
    }
}

fn identification_page() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.regions = vec![Region {
        address_mask: 0x1F,
        word_address_bytes: 2,
        ..region(RegionKind::IdentificationPage, Some(CODE_1011), 0, 32, RegionAccess::Lockable)
    }];
    model
}

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

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_identification_page_is_beside_the_array() {
    let bench = Bench::new(identification_page());
    let mut bus = bench.rig.bus();
    bus.write(0x58, &[0, 4, 0xA1, 0xA2]).unwrap();
    bench.wait();
    assert_eq!(bench.rig.region(bench.chip, 0)[4..6], [0xA1, 0xA2]);
    assert_eq!(bench.memory(), [0xFF; 4096]);
    let mut data = [0; 3];
    bus.write_read(0x58, &[0, 3], &mut data).unwrap();
    assert_eq!(data, [0xFF, 0xA1, 0xA2]);
    // The page wraps, upper address bits are don't care.
    bus.write_read(0x58, &[0x03, 31], &mut data).unwrap();
    assert_eq!(data, [0xFF, 0xFF, 0xFF]);
    assert!(bench.hazards().is_empty());
}

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_lock_is_irreversible() {
    let bench = Bench::new(identification_page());
    let mut bus = bench.rig.bus();
    bus.write(0x58, &[0, 0, 1, 2, 3]).unwrap();
    bench.wait();
    // The lock bit of the word address with a data byte that does not say so: nothing.
    bus.write(0x58, &[0x04, 0, 0x00]).unwrap();
    bench.wait();
    assert!(!bench.rig.region_locked(bench.chip, 0));
    bus.write(0x58, &[0x04, 0, 0x02]).unwrap();
    bench.wait();
    assert!(bench.rig.region_locked(bench.chip, 0));
    bench.rig.power_cycle();
    assert_eq!(bus.write(0x58, &[0, 0, 9]).unwrap_err().fault, BusFault::DataNack { byte: 2 });
    bench.wait();
    assert_eq!(bench.rig.region(bench.chip, 0)[..3], [1, 2, 3]);
    bench.store(0, &[7]);
    assert_eq!(bench.memory()[0], 7, "the array is not concerned");
}

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_serial_number_and_network_address_share_a_device_address() {
    let mut model = ChipModel::example_2_kbit();
    model.regions = vec![
        region(RegionKind::SerialNumber, Some(CODE_1011), 0x80, 16, RegionAccess::ReadOnly),
        region(RegionKind::Eui48, Some(CODE_1011), 0x9A, 6, RegionAccess::ReadOnly),
    ];
    let bench = Bench::new(model);
    let (mut serial, mut eui) = ([0; 16], [0; 6]);
    let mut bus = bench.rig.bus();
    bus.write_read(0x58, &[0x80], &mut serial).unwrap();
    bus.write_read(0x58, &[0x9A], &mut eui).unwrap();
    assert_eq!(serial.to_vec(), bench.rig.region(bench.chip, 0));
    assert_eq!(eui[..5], [0x00, 0x00, 0x5E, 0x00, 0x53]);
    assert!(bus.write(0x58, &[0x80, 1]).is_err(), "read-only");
    assert_eq!(serial.to_vec(), bench.rig.region(bench.chip, 0));
}

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_network_address_at_the_top_of_the_array_is_read_only() {
    let mut model = ChipModel::example_2_kbit();
    model.regions = vec![region(RegionKind::Eui48, None, 0xFA, 6, RegionAccess::ReadOnly)];
    let bench = Bench::new(model);
    let before = bench.read(0xFA, 6);
    assert_eq!(before[..3], [0x00, 0x00, 0x5E]);
    bench.store(0xFA, &[1, 2]);
    assert_eq!(bench.read(0xFA, 6), before);
    assert_eq!(bench.hazards(), [Hazard::WriteProtect]);
    bench.store(0xF0, &[1, 2]);
    assert_eq!(bench.read(0xF0, 2), [1, 2]);
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
fn p3_a_write_to_the_identification_page_is_torn_like_any_other() {
    use pagewise_simulator::TornModel;
    for (torn, expected) in
        [(TornModel::Old, [1, 1, 1, 1]), (TornModel::Prefix, [2, 2, 1, 1]), (TornModel::New, [2; 4])]
    {
        let bench = Bench::new(identification_page());
        bench.rig.load_region(bench.chip, 0, &[1; 32]);
        bench.rig.set_torn_model(torn, 0);
        bench.rig.bus().write(0x58, &[0, 0, 2, 2, 2, 2]).unwrap();
        bench.rig.advance_ns(bench.model.write_cycle.max_ns / 2);
        bench.rig.power_cycle();
        assert_eq!(bench.rig.region(bench.chip, 0)[..5], [&expected[..], &[1]].concat());
        assert_eq!(bench.hazards(), [Hazard::TornWrite]);
        assert_eq!(bench.memory(), [0xFF; 4096], "the array is not concerned");
    }
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

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_a_read_only_region_in_the_array_ends_where_it_says() {
    let mut model = ChipModel::example_2_kbit();
    model.regions = vec![region(RegionKind::Eui48, None, 0x40, 6, RegionAccess::ReadOnly)];
    let bench = Bench::new(model);
    for (offset, stored) in [(0x3F, true), (0x40, false), (0x45, false), (0x46, true)] {
        bench.store(offset, &[0xA5]);
        assert_eq!(bench.memory()[offset as usize] == 0xA5, stored, "{offset:#04x}");
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

/// Source: AT24CS32 online edition (serial number); 24AA025E48 and 24AA02E48, DS20002124E (EUI-48 at FAh).
#[test]
fn g1_only_bit_1_of_the_data_byte_locks() {
    for bit in 0..8 {
        let bench = Bench::new(identification_page());
        bench.rig.bus().write(0x58, &[0x04, 0, 1 << bit]).unwrap();
        bench.wait();
        assert_eq!(bench.rig.region_locked(bench.chip, 0), bit == 1, "bit {bit}");
    }
}

//! Rule G1: second regions.

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{DeviceBit, Region, RegionAccess, RegionKind};
use pagewise_simulator::{BusFault, ChipModel, Hazard, Note, PowerUp, Rig, RigConfig, Straps, TornModel, WireConfig};

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

/// Source: no sheet promises anything of a cut write cycle; models of behaviour, each selectable.
#[test]
fn p3_a_write_to_the_identification_page_is_torn_like_any_other() {
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

/// Source: 24AA025E48, DS20002124E: an EUI-48 at FAh, programmed at the factory. What an image covers is as the image says.
#[test]
fn w10_the_factory_fills_the_read_only_bytes_in_the_array_that_no_image_covers() {
    use RegionAccess::{ReadOnly, ReadWrite};
    let image = |len: usize| PowerUp::Image(vec![7; len]);
    for (bits, access, power_up, expected) in [
        (None, ReadOnly, PowerUp::Erased, [1, 2, 3]),
        (None, ReadOnly, PowerUp::Random, [1, 2, 3]),
        (None, ReadOnly, image(0x40), [1, 2, 3]),
        (None, ReadOnly, image(0x41), [7, 0xFF, 0xFF]),
        (None, ReadWrite, PowerUp::Erased, [0xFF; 3]),
        (Some(CODE_1011), ReadOnly, PowerUp::Erased, [0xFF; 3]),
    ] {
        let mut model = ChipModel::example_2_kbit();
        let contents = vec![1, 2, 3];
        model.regions = vec![Region { contents, ..region(RegionKind::SerialNumber, bits, 0x40, 3, access) }];
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach_with(model, Straps::GROUND, power_up.clone());
        assert_eq!(rig.memory(chip)[0x40..0x43], expected, "{bits:?} {access:?} {power_up:?}");
    }
}

/// Source: RFC 7042, 2.1.2 and 2.2.3 (ranges for documentation), as quoted in the reference data.
#[test]
fn g1_network_addresses_are_of_the_ranges_for_documentation_and_each_part_has_its_own() {
    let (mut short, mut long) = (std::collections::BTreeSet::new(), std::collections::BTreeSet::new());
    for seed in 0..8 {
        let mut model = ChipModel::example_2_kbit();
        model.regions = vec![
            region(RegionKind::Eui48, Some(CODE_1011), 0x9A, 6, RegionAccess::ReadOnly),
            region(RegionKind::Eui64, Some(CODE_1011), 0xF8, 8, RegionAccess::ReadOnly),
        ];
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(model, Straps::GROUND);
        let (eui_48, eui_64) = (rig.region(chip, 0), rig.region(chip, 1));
        assert_eq!((&eui_48[..5], eui_48.len()), (&[0x00, 0x00, 0x5E, 0x00, 0x53][..], 6));
        assert_eq!((&eui_64[..7], eui_64.len()), (&[0x02, 0x00, 0x5E, 0x10, 0x00, 0x00, 0x00][..], 8));
        short.insert(eui_48);
        long.insert(eui_64);
    }
    assert!(short.len() > 4 && long.len() > 4, "{short:?} {long:?}");
}

#[test]
fn g1_a_region_is_found_by_its_own_device_address_whatever_lies_at_another_one() {
    let mut code_1001 = CODE_1011;
    code_1001[2] = DeviceBit::Fixed(false);
    let mut model = ChipModel::example_2_kbit();
    model.regions = vec![
        region(RegionKind::IdentificationPage, Some(CODE_1011), 0x40, 16, RegionAccess::ReadWrite),
        region(RegionKind::IdentificationPage, Some(code_1001), 0x40, 16, RegionAccess::ReadWrite),
        region(RegionKind::SerialNumber, None, 0x80, 16, RegionAccess::ReadWrite),
        region(RegionKind::SerialNumber, Some(CODE_1011), 0xC0, 16, RegionAccess::ReadOnly),
    ];
    let bench = Bench::new(model);
    for (address, byte) in [(0x58, 1), (0x48, 2), (0x50, 3)] {
        bench.rig.bus().write(address, &[0x40, byte]).unwrap();
        bench.wait();
    }
    for (address, byte) in [(0x58, 1), (0x48, 2), (0x50, 3)] {
        let mut got = [0];
        bench.rig.bus().write_read(address, &[0x40], &mut got).unwrap();
        assert_eq!(got, [byte], "0x{address:02X}");
    }
    // The array is read-only neither where a region of another device address is, nor where one in it is not.
    for offset in [0x80, 0xC0] {
        bench.store(offset, &[9]);
        assert_eq!(bench.memory()[offset as usize], 9, "0x{offset:02X}");
    }
    assert!(bench.hazards().is_empty());
}

#[test]
fn p3_a_lock_that_was_being_set_is_set_or_not_and_hurts_no_byte() {
    for torn in TornModel::ALL {
        let bench = Bench::new(identification_page());
        bench.rig.load_region(bench.chip, 0, &pattern(32));
        bench.rig.set_torn_model(torn, 0);
        bench.rig.bus().write(0x58, &[0x04, 0, 0x02]).unwrap();
        bench.rig.advance_ns(bench.model.write_cycle.max_ns / 2);
        bench.rig.power_cycle();
        assert_eq!(bench.rig.region(bench.chip, 0), pattern(32), "{torn:?}");
        assert_eq!(bench.rig.region_locked(bench.chip, 0), torn == TornModel::New, "{torn:?}");
    }
}

#[test]
fn g1_a_lock_is_taken_at_a_word_address_that_leads_to_no_byte_too() {
    let mut model = identification_page();
    model.regions[0].address_mask = 0xFFFF;
    let bench = Bench::new(model);
    bench.rig.bus().write(0x58, &[0x08, 0, 0x02]).unwrap();
    assert!(!bench.rig.busy(bench.chip), "bit 11 leads nowhere");
    bench.rig.bus().write(0x58, &[0x04, 0, 0x02]).unwrap();
    bench.wait();
    assert!(bench.rig.region_locked(bench.chip, 0));
}

/// Runs of bytes that go at once without a trace are refused as single ones are.
#[test]
fn g1_a_locked_region_refuses_data_with_and_without_a_trace() {
    for trace in [true, false] {
        let bench = Bench::new(identification_page());
        let mut bus = bench.rig.bus();
        bus.write(0x58, &[0x04, 0, 0x02]).unwrap();
        bench.wait();
        bench.rig.set_trace(trace);
        let refused = bus.write(0x58, &[0, 0, 1, 2, 3, 4]).unwrap_err().fault;
        assert_eq!(refused, BusFault::DataNack { byte: 2 }, "trace {trace}");
        assert!(!bench.rig.busy(bench.chip));
    }
}

/// Source: BR24G08-3, TSZ02201-0R2R0G100190-1-2: START or STOP in the middle of a read leaves the address
/// undetermined; it is the address of what was read.
#[test]
fn r5_a_cut_read_of_a_region_loses_the_pointer_that_it_reads_from() {
    for shares_pointer in [false, true] {
        let mut model = identification_page();
        model.regions[0].shares_pointer = shares_pointer;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bench.rig.load(bench.chip, 0, &pattern(4096));
        let mut byte = [0];
        bus.write_read(0x50, &[0x07, 0x20], &mut byte).unwrap();
        if !shares_pointer {
            bus.write(0x58, &[0, 0]).unwrap();
        }
        bus.start().unwrap();
        assert!(bus.send(0xB1).unwrap());
        // An erased byte is driven: a START gets through.
        bus.start().unwrap();
        bus.stop().unwrap();
        bus.read(0x50, &mut byte).unwrap();
        assert_eq!(byte == pattern(4096)[0x721..0x722], !shares_pointer, "the pointer of the array");
        bus.read(0x58, &mut byte).unwrap();
        let unset = notes(&bench.rig).iter().filter(|note| **note == Note::PointerUnset).count();
        assert_eq!(unset, 1, "noted at the next read from the pointer that was lost");
    }
}

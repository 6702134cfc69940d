//! Rules G1a and G3: regions as sheets publish them. Fixed contents, a pointer shared with the array, undefined data
//! elsewhere, the device identification, word-address bits that must be 0, and the security command.

use std::collections::BTreeSet;

use crate::common::*;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::DeviceBit::Fixed;
use pagewise_simulator::model::{MemoryKind, Region, RegionAccess, RegionKind, UpperBits};
use pagewise_simulator::{BusFault, ChipModel, Hazard, Note, PowerUp, Rig, RigConfig, Straps, WireConfig};

/// A 32 kbit part whose serial number lies at 0800h behind 1011: A11 and A10 must be 1 and 0, 16 bytes, the next 16 read
/// 00h, then it rolls over; the pointer is that of the array. Source: AT24CS32, Microchip online edition.
fn serial_number() -> ChipModel {
    let mut model = ChipModel::example_32_kbit();
    model.regions = vec![Region {
        address_mask: 0x0C1F,
        word_address_bytes: 2,
        contents: vec![0x29, 0x48],
        rolls_after: 32,
        shares_pointer: true,
        ..region(RegionKind::SerialNumber, Some(CODE_1011), 0x0800, 16, RegionAccess::ReadOnly)
    }];
    model
}

fn region_read(bench: &Bench, header: [u8; 2], len: usize) -> Vec<u8> {
    let mut data = vec![0; len];
    bench.rig.bus().write_read(0x58, &header, &mut data).unwrap();
    data
}

/// Source: 24AA256UID, DS20005215A: 29h, 48h, then four serial bytes.
#[test]
fn g1a_fixed_contents_are_as_published_and_the_rest_is_drawn() {
    let mut serials = BTreeSet::new();
    for seed in 0..8 {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(serial_number(), Straps::GROUND);
        let serial = rig.region(chip, 0);
        assert_eq!(serial[..2], [0x29, 0x48]);
        serials.insert(serial);
    }
    assert_eq!(serials.len(), 8);
}

/// Source: AT24CS32, Microchip online edition.
#[test]
fn g1a_reading_goes_on_with_zeros_and_rolls_over() {
    let bench = Bench::new(serial_number());
    let serial = bench.rig.region(bench.chip, 0);
    let expected = [&serial[..], &[0; 16], &serial[..4]].concat();
    assert_eq!(region_read(&bench, [0x08, 0x00], 36), expected);
    assert_eq!(region_read(&bench, [0x08, 0x1F], 3), [0, serial[0], serial[1]]);
    // Bits that are not compared are don't care.
    assert_eq!(region_read(&bench, [0xFA, 0xE5], 1), serial[5..6]);
}

/// Source: AT24CS32, Microchip online edition: anything else gives undefined data.
#[test]
fn g1a_elsewhere_data_is_undefined() {
    for header in [[0x00, 0x00], [0x04, 0x00], [0x0C, 0x00], [0x07, 0xFF]] {
        let bench = Bench::new(serial_number());
        let (first, second) = (region_read(&bench, header, 16), region_read(&bench, header, 16));
        assert_ne!(first, second, "{header:02X?}");
        assert_ne!(first, bench.rig.region(bench.chip, 0));
    }
}

/// Source: AT24CS16 and AT24CS32, Microchip online editions: one address pointer for array and serial number.
#[test]
fn g1a_the_pointer_is_shared_with_the_array() {
    let bench = Bench::new(serial_number());
    bench.rig.load(bench.chip, 0, &pattern(4096));
    let serial = bench.rig.region(bench.chip, 0);
    let mut bus = bench.rig.bus();
    // After the serial number the array is read from the next address on, and the other way round.
    assert_eq!(region_read(&bench, [0x08, 0x00], 3), serial[..3]);
    assert_eq!(bench.read_on(2), pattern(4096)[0x803..0x805]);
    let mut next = [0; 2];
    bus.read(0x58, &mut next).unwrap();
    assert_eq!(next, serial[5..7]);
    bench.read(0x0A08, 1);
    bus.read(0x58, &mut next).unwrap();
    assert_eq!(next, serial[9..11], "A11 and A10 are 1 and 0");
    // Where the array was read last tells nothing: undefined data without a dummy write.
    bench.read(0x0010, 1);
    let mut undefined = [0; 16];
    bus.read(0x58, &mut undefined).unwrap();
    assert_ne!(undefined[..], serial[..]);
    assert!(bench.hazards().is_empty());
}

/// A pointer of a region of its own, as rule R4 has it for the array: drawn at power-up, read before it is set.
#[test]
fn r4_a_region_read_before_its_word_address_was_sent_gives_undefined_data_and_is_noted() {
    for shares_pointer in [true, false] {
        let mut seen = BTreeSet::new();
        for seed in 0..24 {
            let mut model = serial_number();
            model.regions[0].shares_pointer = shares_pointer;
            let rig = Rig::new(RigConfig::default().with_seed(seed));
            let chip = rig.attach(model, Straps::GROUND);
            let (mut first, mut serial) = ([0; 16], [0; 16]);
            rig.bus().read(0x58, &mut first).unwrap();
            // What is read there over and over: the number, and 16 zeros behind it.
            let cycle = [rig.region(chip, 0), vec![0; 16]].concat().repeat(2);
            seen.insert(cycle.windows(16).any(|window| window == first));
            assert_eq!(notes(&rig), [Note::PointerUnset]);
            rig.bus().write_read(0x58, &[0x08, 0x00], &mut serial).unwrap();
            assert_eq!(serial.to_vec(), rig.region(chip, 0));
            assert_eq!(notes(&rig).len(), 1, "noted once");
        }
        assert_eq!(seen.len(), 2, "anywhere, in the region and elsewhere: {shares_pointer}");
    }
}

#[test]
fn g1a_a_region_of_its_own_pointer_leaves_the_array_alone() {
    let mut model = serial_number();
    model.regions[0].shares_pointer = false;
    let bench = Bench::new(model);
    bench.rig.load(bench.chip, 0, &pattern(4096));
    bench.read(0x20, 2);
    region_read(&bench, [0x08, 0x00], 3);
    assert_eq!(bench.read_on(2), pattern(4096)[0x22..0x24]);
    let mut next = [0; 2];
    bench.rig.bus().read(0x58, &mut next).unwrap();
    assert_eq!(next, bench.rig.region(bench.chip, 0)[3..5]);
}

/// A writable region that shares the pointer: after a security access it is that location plus one. Source:
/// AT24CSW04X/08X, Microchip online edition.
#[test]
fn w9_after_a_write_to_a_region_the_shared_pointer_stands_behind_it() {
    let mut model = serial_number();
    (model.regions[0].kind, model.regions[0].access) = (RegionKind::IdentificationPage, RegionAccess::ReadWrite);
    let bench = Bench::new(model);
    bench.rig.load(bench.chip, 0, &pattern(4096));
    bench.rig.bus().write(0x58, &[0x08, 0x04, 0xA1, 0xA2]).unwrap();
    bench.wait();
    assert_eq!(bench.rig.region(bench.chip, 0)[4..6], [0xA1, 0xA2]);
    assert_eq!(bench.read_on(1), pattern(4096)[0x806..0x807]);
    // What is sent to no region of the device address is lost, also what is read there as zeros behind the region.
    for header in [[0x00, 0x04], [0x08, 0x10], [0x08, 0x1F]] {
        bench.rig.bus().write(0x58, &[header[0], header[1], 0xEE]).unwrap();
        assert!(!bench.rig.busy(bench.chip), "{header:02X?}");
    }
}

/// Source: AT24CSW04X/08X, Microchip online edition: one pointer; word addresses of the region lie above the array.
#[test]
fn g1a_a_shared_pointer_keeps_the_bits_above_the_array() {
    let mut model = serial_number().with_capacity(1024);
    (model.regions[0].kind, model.regions[0].access) = (RegionKind::IdentificationPage, RegionAccess::ReadWrite);
    let bench = Bench::new(model);
    bench.rig.load(bench.chip, 0, &pattern(1024));
    bench.rig.load_region(bench.chip, 0, &pattern(16));
    let mut bus = bench.rig.bus();
    let mut read_on = |address: u8, len: usize| {
        let mut data = vec![0; len];
        bus.read(address, &mut data).unwrap();
        data
    };
    // The array is read on to its end; its pointer then stands at 0, and so does that of the region.
    bench.rig.bus().write(0x58, &[0x0B, 0x05]).unwrap();
    assert_eq!(read_on(0x50, 1024 - 0x305), pattern(1024)[0x305..]);
    assert_eq!(read_on(0x58, 2), [0, 1]);
    // After a write the next byte of the region is read, or that place of the array.
    bench.rig.bus().write(0x58, &[0x08, 0x04, 0xA1, 0xA2]).unwrap();
    bench.wait();
    assert_eq!(read_on(0x58, 2), [6, 7]);
    assert_eq!(read_on(0x50, 1), pattern(1024)[8..9]);
}

/// Source: AT24CS32, Microchip online edition: the serial number is read-only.
#[test]
fn g1a_a_read_only_region_refuses_data_at_every_word_address_of_its_device_address() {
    for header in [[0x08, 0x00], [0x08, 0x10], [0x00, 0x00]] {
        let bench = Bench::new(serial_number());
        let refused = bench.rig.bus().write(0x58, &[header[0], header[1], 0xEE]).unwrap_err().fault;
        assert_eq!(refused, BusFault::DataNack { byte: 2 }, "{header:02X?}");
    }
}

fn identified(contents: [u8; 3]) -> ChipModel {
    let mut model = fram();
    let code = Some([1, 1, 1, 1, 1, 0, 0].map(|bit| Fixed(bit == 1)));
    model.regions = vec![Region {
        address_mask: 0,
        contents: contents.to_vec(),
        ..region(RegionKind::DeviceId, code, 0, 3, RegionAccess::ReadOnly)
    }];
    assert_eq!((model.check(), model.memory), (Ok(()), MemoryKind::Fram));
    model
}

/// Source: UM10204 Rev.6, p.17; MB85RC256V, DS501-00017-3v0-E: 00h A5h 10h through F8h/F9h.
#[test]
fn g3_the_device_identification_is_read_by_the_reserved_address_and_the_part_s_own() {
    for at_the_wire in [false, true] {
        let rig = Rig::new(RigConfig::default());
        rig.attach(identified([0x00, 0xA5, 0x10]), Straps::address(0));
        rig.attach(identified([0x00, 0x42, 0x00]), Straps::address(3));
        let mut own = rig.bus();
        let mut pins = rig.bit_bang(WireConfig::IDEAL);
        let mut read = |address: u8, data: &mut [u8]| {
            if at_the_wire {
                pins.write_read(0x7C, &[address << 1], data).is_ok()
            } else {
                own.write_read(0x7C, &[address << 1], data).is_ok()
            }
        };
        let mut id = [0; 4];
        assert!(read(0x50, &mut id));
        assert_eq!(id, [0x00, 0xA5, 0x10, 0x00], "after the third byte the first comes again");
        assert!(read(0x53, &mut id));
        assert_eq!(id[..3], [0x00, 0x42, 0x00]);
        assert!(!read(0x51, &mut id), "nobody is 0x51");
        assert_eq!(rig.incidents(), [], "a call to all such parts is not a conflict");
        // Only a repeated START leads there: STOP or another access forgets who was chosen.
        rig.bus().write(0x7C, &[0xA0]).unwrap();
        assert_eq!(rig.bus().read(0x7C, &mut id).unwrap_err().fault, BusFault::AddressNack);
        assert!(rig.bus().write(0x7C, &[0xA0, 0]).is_err(), "there is nothing to write");
    }
}

/// Source: UM10204 Rev.6 3.1.17: a repeated START followed by an access to another target resets the state machine, and
/// the device identification cannot be read.
#[test]
fn g3_another_access_between_forgets_who_was_chosen_for_the_identification() {
    let mut model = identified([0x00, 0xA5, 0x10]);
    let page = region(RegionKind::IdentificationPage, Some(CODE_1011), 0, 16, RegionAccess::ReadWrite);
    model.regions.push(page);
    for (between, answered) in [(None, true), (Some(0xA0), false), (Some(0xB0), false), (Some(0xA6), false)] {
        let bench = Bench::new(model.clone());
        let mut bus = bench.rig.bus().steps();
        bus.start().unwrap();
        assert!(bus.send(0xF8) && bus.send(0xA0));
        if let Some(control) = between {
            bus.start().unwrap();
            assert_eq!(bus.send(control), control != 0xA6, "nobody is 0x53");
        }
        bus.start().unwrap();
        assert_eq!(bus.send(0xF9), answered, "{between:02X?}");
    }
}

/// Source: NM24C65, as in datasheets.toml: the top 3 bits of the first word-address byte must be 0.
#[test]
fn b4_nothing_is_promised_where_a_bit_is_set_that_must_be_0() {
    let mut pointers = BTreeSet::new();
    for seed in 0..8 {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let model = ChipModel { upper_bits: UpperBits::Zero, ..ChipModel::example_32_kbit() };
        let chip = rig.attach_with(model, Straps::GROUND, PowerUp::Image(pattern(4096)));
        rig.meant(chip, 0x1010, &[0xA1]);
        rig.bus().write(0x50, &[0x10, 0x10, 0xA1]).unwrap();
        rig.advance_ns(5_000_000);
        assert_eq!(rig.memory(chip), pattern(4096), "acknowledged and lost");
        let incidents = rig.incidents();
        assert!(incidents.iter().all(|incident| incident.hazard == Hazard::CapacityAlias), "{incidents:?}");
        assert!(incidents[1].text.contains("word address 0x1010 has a bit set that must be 0"), "{incidents:?}");
        assert_eq!(rig.explain()[0].cause, Some(Hazard::CapacityAlias));
        let mut data = [0; 2];
        rig.bus().write_read(0x50, &[0x10, 0x10], &mut data).unwrap();
        pointers.insert(data);
        rig.bus().write_read(0x50, &[0x00, 0x10], &mut data).unwrap();
        assert_eq!(data, [0x10, 0x11]);
    }
    assert!(pointers.len() > 4, "{pointers:?}");
}

/// 64 kbit, two word-address bytes, the topmost bit of the first is the command.
fn with_security() -> ChipModel {
    ChipModel { upper_bits: UpperBits::SecurityCommand, ..ChipModel::example_32_kbit().with_capacity(8192) }
}

/// Source: 24LC65, DS21073K: a first address byte with bit 7 set is the command, bits 4 to 1 the first of 16 blocks, the
/// third byte 10xx nnnn the number of blocks; it can be set once with a number above zero.
#[test]
fn g3_the_security_command_protects_blocks_once_and_for_good() {
    let bench = Bench::new(with_security());
    let mut bus = bench.rig.bus();
    bus.write(0x50, &[0x80 | 2 << 1, 0x00, 0x82]).unwrap();
    assert!(bench.rig.busy(bench.chip), "a write cycle sets it");
    bench.wait();
    let read_only = |offset: u32| {
        bench.store(offset, &[0x77]);
        bench.memory()[offset as usize] == 0xFF
    };
    assert_eq!([0x3FF, 0x400, 0x7FF, 0x800].map(read_only), [false, true, true, false]);
    // Once: another range, and power, change nothing.
    bus.write(0x50, &[0x80, 0x00, 0x8F]).unwrap();
    assert!(!bench.rig.busy(bench.chip));
    bench.rig.power_cycle();
    assert_eq!([0x401, 0x001].map(read_only), [true, false]);
    let said: Vec<String> = bench.rig.incidents().iter().map(|incident| incident.text.clone()).collect();
    assert!(said.iter().any(|text| text.contains("1024 bytes from 0x0400 on are read-only for good")), "{said:?}");
    assert!(said.iter().any(|text| text.contains("security command, which changed nothing")), "{said:?}");
}

/// Source: 24LC65, DS21073K (blocks of a sixteenth). Five blocks from the fifteenth on: two are there.
#[test]
fn g3_a_range_that_runs_past_the_end_of_the_array_ends_with_it() {
    let bench = Bench::new(with_security());
    bench.rig.bus().write(0x50, &[0x80 | 14 << 1, 0x00, 0x85]).unwrap();
    let said = notes(&bench.rig);
    assert!(said.contains(&Note::Secured { offset: 14 * 512, bytes: 2 * 512 }), "{said:?}");
}

/// P1: the command is a write.
#[test]
fn g3_a_security_command_wants_the_supply_of_a_write() {
    let mut model = with_security();
    model.supply.write_min_mv = 2500;
    for (mv, sets) in [(2499, false), (2500, true)] {
        let bench = Bench::new(model.clone());
        bench.rig.set_supply_mv(mv);
        bench.rig.bus().write(0x50, &[0x80, 0x00, 0x8F]).unwrap();
        assert_eq!(bench.rig.busy(bench.chip), sets, "{mv} mV");
    }
}

/// Source: 24LC65, DS21073K.
#[test]
fn g3_what_is_no_security_command_protects_nothing() {
    for (sent, why) in [
        (&[0x80, 0x00][..], "no third byte"),
        (&[0x80, 0x00, 0x80][..], "no blocks"),
        (&[0x80, 0x00, 0xC3][..], "bit 6 set"),
        (&[0x80, 0x00, 0x03][..], "bit 7 clear"),
        (&[0x80, 0x00, 0x03, 0x83][..], "the fourth byte"),
        (&[0x60, 0x00, 0x83][..], "another bit above the capacity"),
    ] {
        let bench = Bench::new(with_security());
        bench.rig.bus().write(0x50, sent).unwrap();
        bench.wait();
        bench.store(0x0100, &[0x77]);
        assert_eq!(bench.memory()[0x100], 0x77, "{why}");
    }
    // The header of a read is none either, and a START before STOP drops the command.
    let bench = Bench::new(with_security());
    bench.rig.bus().write_read(0x50, &[0x80, 0x00], &mut [0]).unwrap();
    bench.restarted_writes(0x50, &[&[0x80, 0x00, 0x8F], &[0x00, 0x00]]).unwrap();
    bench.wait();
    bench.store(0x0000, &[0x77]);
    assert_eq!(bench.memory()[0], 0x77);
}

/// Source: no sheet promises anything of a cut write cycle; a register that was being set is set or not.
#[test]
fn p3_a_security_command_that_was_cut_is_set_or_not() {
    use pagewise_simulator::TornModel;
    for (torn, set) in [(TornModel::Old, false), (TornModel::New, true)] {
        let bench = Bench::new(with_security());
        bench.rig.set_torn_model(torn, 0);
        bench.rig.bus().write(0x50, &[0x80, 0x00, 0x8F]).unwrap();
        bench.rig.advance_ns(1_000_000);
        bench.rig.power_cycle();
        bench.store(0, &[0x77]);
        assert_eq!(bench.memory()[0] == 0xFF, set);
    }
}

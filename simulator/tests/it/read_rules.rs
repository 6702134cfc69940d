//! Rules R1 to R4 of the simulated chip.

use crate::common::*;
use embedded_hal::i2c::{I2c, Operation};
use pagewise_simulator::model::{DeviceBit, ReadBlockBits};
use pagewise_simulator::{ChipModel, EventKind, Hazard, Note, Rig, RigConfig, Straps};

fn filled(model: ChipModel) -> Bench {
    let bench = Bench::new(model);
    bench.rig.load(bench.chip, 0, &pattern(bench.model.capacity as usize));
    bench
}

/// Source: AT24C02C, 8700H: the counter holds the last address plus one; a read ends with NACK and STOP.
#[test]
fn r1_current_address_read_goes_on_where_the_last_one_ended() {
    for model in eeproms().into_iter().filter(|model| model.word_address_bytes > 0) {
        let bench = filled(model);
        bench.read(10, 3);
        assert_eq!(bench.read_on(2), [13, 14], "{}", bench.model.name);
        assert_eq!(bench.read_on(1), [15], "{}", bench.model.name);
    }
}

/// Source: AT24C02C, 8700H: the counter holds the last address plus one; a read ends with NACK and STOP.
#[test]
fn r1_last_byte_is_not_acknowledged() {
    let bench = filled(ChipModel::example_32_kbit());
    bench.read(0, 3);
    let acks: Vec<bool> = bench
        .rig
        .trace()
        .iter()
        .filter_map(|event| match event.kind {
            EventKind::Read { acked, .. } => Some(acked),
            _ => None,
        })
        .collect();
    assert_eq!(acks, [true, true, false]);
}

/// Source: 24XX1025, DS20001941L, and SLx 24C04/P, 1998-07-27 (block bits of a read are not looked at); FM24C16B
/// (they are latched).
#[test]
fn r2_random_read_at_every_boundary_of_every_model() {
    for model in eeproms() {
        let bench = filled(model);
        let all = pattern(bench.model.capacity as usize);
        for offset in [0, 1, 127, 128, 255, 256, 257, 0xFFFE, 0xFFFF, 0x1_0000, bench.model.capacity - 2] {
            let (from, to) = (offset as usize, offset as usize + 2);
            if to <= all.len() && offset / bench.model.read_wrap == (offset + 1) / bench.model.read_wrap {
                assert_eq!(bench.read(offset, 2), all[from..to], "{} {offset:#x}", bench.model.name);
            }
        }
        assert!(bench.hazards().is_empty(), "{}", bench.model.name);
    }
}

/// Source: 24XX1025, DS20001941L, and SLx 24C04/P, 1998-07-27 (block bits of a read are not looked at); FM24C16B
/// (they are latched).
#[test]
fn r2_stop_between_header_and_read_is_allowed() {
    let bench = filled(ChipModel::example_32_kbit());
    bench.rig.bus().write(0x50, &[0x01, 0x02]).unwrap();
    assert_eq!(bench.read_on(2), pattern(4096)[0x102..0x104]);
    assert!(bench.hazards().is_empty());
}

/// Source: 24XX1025, DS20001941L, and SLx 24C04/P, 1998-07-27 (block bits of a read are not looked at); FM24C16B
/// (they are latched).
#[test]
fn r2_block_bits_of_a_read_address_are_ignored_or_latched() {
    for (axis, expected) in [(ReadBlockBits::Ignored, 0x10), (ReadBlockBits::Latched, 0x310 % 251)] {
        let mut model = ChipModel::example_16_kbit();
        model.read_block_bits = axis;
        let bench = filled(model);
        bench.rig.bus().write(0x50, &[0x10]).unwrap();
        let mut byte = [0];
        bench.rig.bus().read(0x53, &mut byte).unwrap();
        assert_eq!(byte, [expected as u8]);
    }
}

/// Source: 24XX1025, DS20001941L (inside each 512-Kbit half); AT24C02C, 8700H (over the whole array).
#[test]
fn r3_sequential_read_wraps_over_the_array_or_inside_the_block() {
    for (wrap, next) in [(2048, 0x200 % 251), (256, 0x100 % 251)] {
        let mut model = ChipModel::example_16_kbit();
        model.read_wrap = wrap;
        let bench = filled(model);
        assert_eq!(bench.read(0x1FF, 2), [(0x1FF % 251) as u8, next as u8]);
        let rolled = bench.hazards();
        assert_eq!(rolled, if wrap == 256 { vec![Hazard::ReadRollover] } else { vec![] });
    }
    let bench = filled(ChipModel::example_2_kbit());
    assert_eq!(bench.read(255, 3), [4, 0, 1]);
    assert_eq!(bench.hazards(), [Hazard::ReadRollover]);
}

/// Source: 24XX1025, DS20001941L (inside each 512-Kbit half); AT24C02C, 8700H (over the whole array).
#[test]
fn r3_reading_the_last_byte_is_no_rollover() {
    let bench = filled(ChipModel::example_2_kbit());
    bench.read(250, 6);
    bench.read_on(1);
    assert!(bench.hazards().is_empty());
}

/// Source: AT24C02C, 8700H: the counter is kept while the supply is there, and only then.
#[test]
fn r4_pointer_at_power_up_is_drawn_and_reading_it_is_noted_once() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..20 {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let chip = rig.attach(ChipModel::example_2_kbit(), Straps::GROUND);
        rig.load(chip, 0, &(0..=255).collect::<Vec<u8>>());
        let mut byte = [0];
        rig.bus().read(0x50, &mut byte).unwrap();
        seen.insert(byte[0]);
        rig.bus().read(0x50, &mut byte).unwrap();
        let unset = |e: &&pagewise_simulator::Event| matches!(e.kind, EventKind::Chip { note: Note::PointerUnset, .. });
        assert_eq!(rig.trace().iter().filter(unset).count(), 1);
        assert!(rig.finish().is_empty());
    }
    assert!(seen.len() > 10);
}

/// Source: AT24C02C, 8700H: the counter holds the last address plus one; a read ends with NACK and STOP.
#[test]
fn r1_adjacent_reads_are_one_and_a_change_of_direction_ends_the_read() {
    let bench = filled(ChipModel::example_32_kbit());
    let (mut a, mut b, mut c) = ([0; 2], [0; 3], [0; 1]);
    let mut operations = [
        Operation::Write(&[0, 5]),
        Operation::Read(&mut a),
        Operation::Read(&mut b),
        Operation::Write(&[0, 50]),
        Operation::Read(&mut c),
    ];
    bench.rig.bus().transaction(0x50, &mut operations).unwrap();
    assert_eq!((a, b, c), ([5, 6], [7, 8, 9], [50]));
    assert_eq!(
        bench.rig.transfers_text(),
        "         1.375 us  S 50W+ 00+ 05+ Sr 50R+ 05+ 06+ 07+ 08+ 09- Sr 50W+ 00+ 32+ Sr 50R+ 32- P\n"
    );
}

/// Source: 24XX1025, DS20001941L, and SLx 24C04/P, 1998-07-27 (block bits of a read are not looked at); FM24C16B
/// (they are latched).
#[test]
fn r2_part_without_word_address_bytes() {
    let bench = filled(no_word_address());
    assert!(bench.model.device_bits.iter().all(|bit| matches!(bit, DeviceBit::Block(_))));
    let mut data = [0; 3];
    bench.rig.bus().read(0x21, &mut data).unwrap();
    assert_eq!(data, [0x21, 0x22, 0x23]);
    bench.rig.bus().write(0x40, &[0xAA]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0x40], 0xAA);
}

fn unset_pointer_notes(rig: &Rig) -> usize {
    let unset = |e: &&pagewise_simulator::Event| matches!(e.kind, EventKind::Chip { note: Note::PointerUnset, .. });
    rig.trace().iter().filter(unset).count()
}

/// Source: AT24C02C, 8700H: the counter is kept while the supply is there, and only then.
#[test]
fn r4_a_pointer_that_a_header_has_set_is_not_noted() {
    for model in eeproms() {
        let bench = filled(model);
        let (address, header) = wire_address(&bench.model, 3);
        bench.rig.bus().write_read(address, &header, &mut [0]).unwrap();
        assert_eq!(unset_pointer_notes(&bench.rig), 0, "{}", bench.model.name);
        bench.rig.power_cycle();
        if !header.is_empty() {
            bench.rig.bus().read(address, &mut [0]).unwrap();
            assert_eq!(unset_pointer_notes(&bench.rig), 1, "{}: drawn anew at power-up", bench.model.name);
        }
    }
}

/// Source: AT24C02C, 8700H: the counter is kept while the supply is there, and only then.
#[test]
fn r4_a_part_without_word_address_bytes_sets_its_pointer_with_each_read() {
    let bench = filled(no_word_address());
    bench.rig.bus().read(0x21, &mut [0]).unwrap();
    assert_eq!(unset_pointer_notes(&bench.rig), 0);
}

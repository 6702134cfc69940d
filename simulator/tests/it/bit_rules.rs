//! Rules W5, R5, B1, B7, W8 and W10 at the wire level: what conditions in the middle of bytes do.

use crate::common::*;
use embedded_hal::digital::OutputPin;
use embedded_hal::i2c::I2c;
use pagewise_simulator::model::{ByteRange, CutByte, DeviceBit, Region, RegionAccess, RegionKind, UpperBits};
use pagewise_simulator::{ChipModel, Hazard, Note, PowerUp, Rig, RigConfig, Straps, WireConfig};

/// Source: no sheet read says it (datasheets.toml, `partial_write_abort`: unread); an axis of the model.
#[test]
fn w5_stop_in_the_middle_of_a_byte() {
    for (axis, expected) in [(CutByte::DropsAll, [0xFF, 0xFF]), (CutByte::KeepsWhole, [0x11, 0xFF])] {
        for bits in 1..8 {
            let mut model = ChipModel::example_32_kbit();
            model.cut_byte = axis;
            let (bench, mut bus) = wired(model, WireConfig::IDEAL);
            bus.start().unwrap();
            for byte in [0xA0, 0, 0, 0x11] {
                assert!(bus.send(byte).unwrap());
            }
            for _ in 0..bits {
                bus.clock(false).unwrap();
            }
            bus.stop().unwrap();
            bench.wait();
            assert_eq!(bench.memory()[..2], expected, "{axis:?} {bits}");
            let cut = Note::ByteCut { read: false, bits };
            assert!(notes(&bench.rig).contains(&cut));
        }
    }
}

/// Source: no sheet read says it (datasheets.toml, `partial_write_abort`: unread); an axis of the model.
#[test]
fn w5_start_in_the_middle_of_a_byte_drops_the_latch() {
    for axis in [CutByte::DropsAll, CutByte::KeepsWhole] {
        let mut model = ChipModel::example_32_kbit();
        model.cut_byte = axis;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0, 0x11] {
            assert!(bus.send(byte).unwrap());
        }
        bus.clock(true).unwrap();
        bus.clock(true).unwrap();
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap(), "the next byte is a device address");
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0], 0xFF);
    }
}

/// Source: AT24CS32 online edition (acknowledged, ready at once); R1EX24256B, R10DS0005EJ0101 (data refused);
/// BR24G08-3, TSZ02201-0R2R0G100190-1-2 (WP in the data phase).
#[test]
fn w8_wp_in_the_data_phase_cancels_or_only_its_level_at_stop_counts() {
    use pagewise_simulator::Level;
    use pagewise_simulator::model::WpSampled;
    for (sampled, stored) in [(WpSampled::Stop, true), (WpSampled::DataPhase, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = sampled;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0, 0x11] {
            assert!(bus.send(byte).unwrap());
        }
        bench.rig.set_wp(bench.chip, Level::High);
        assert!(bus.send(0x22).unwrap());
        bench.rig.set_wp(bench.chip, Level::Low);
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0] == 0x11, stored, "{sampled:?}");
    }
    // High only during the header: both store.
    for sampled in [WpSampled::Stop, WpSampled::DataPhase] {
        let mut model = ChipModel::example_32_kbit();
        model.write_protect.sampled = sampled;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bench.rig.set_wp(bench.chip, Level::High);
        bus.start().unwrap();
        for byte in [0xA0, 0, 0] {
            assert!(bus.send(byte).unwrap());
        }
        bench.rig.set_wp(bench.chip, Level::Low);
        assert!(bus.send(0x11).unwrap());
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0], 0x11);
    }
}

/// Source: BR24G08-3, TSZ02201-0R2R0G100190-1-2: START or STOP in the middle of a read leaves the address
/// undetermined.
#[test]
fn r5_pointer_is_undefined_after_a_read_was_cut() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..30 {
        let rig = Rig::new(RigConfig::default().with_seed(seed));
        let image: Vec<u8> = (0..256).map(|i| i as u8 | 0x80).collect();
        rig.attach_with(ChipModel::example_2_kbit(), Straps::GROUND, PowerUp::Image(image));
        let mut bus = rig.bit_bang(WireConfig::IDEAL);
        bus.write(0x50, &[0x00]).unwrap();
        bus.start().unwrap();
        assert!(bus.send(0xA1).unwrap());
        // The first bit is 1, so that a START gets through right after it was clocked.
        bus.start().unwrap();
        bus.send(0xA1).unwrap();
        seen.insert(bus.receive(false).unwrap());
        bus.stop().unwrap();
    }
    assert!(seen.len() > 5, "{seen:?}");
}

/// Source: UM10204 Rev.6, p.17 (reserved addresses) and 3.1.15 (START byte).
#[test]
fn b7_start_byte_general_call_and_reserved_addresses_are_not_answered() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    for control in (0x00..0x10).chain(0xF0..=0xFF) {
        bus.start().unwrap();
        assert!(!bus.send(control).unwrap(), "{control:#04x}");
        bus.stop().unwrap();
        bench.rig.advance_ns(2_000);
    }
}

/// Source: UM10204 Rev.6, p.17 (reserved addresses) and 3.1.15 (START byte).
#[test]
fn b7_start_directly_followed_by_stop_is_survived() {
    let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
    let mut sda = bench.rig.wire(WireConfig::IDEAL).sda();
    for _ in 0..3 {
        sda.set_low().unwrap();
        bench.rig.advance_ns(1_000);
        sda.set_high().unwrap();
        bench.rig.advance_ns(2_000);
    }
    bus.write(0x50, &[0, 0, 1]).unwrap();
    bench.wait();
    assert_eq!(bench.memory()[0], 1);
}

/// Source: UM10204 Rev.6, notes to 3.1.10 and 3.2.7: any START resets the bus logic.
#[test]
fn b1_start_in_the_middle_of_a_header_resets_the_chip() {
    for clocks in 0..8 {
        let (bench, mut bus) = wired(ChipModel::example_32_kbit(), WireConfig::IDEAL);
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap());
        for _ in 0..clocks {
            bus.clock(true).unwrap();
        }
        bus.start().unwrap();
        assert!(bus.send(0xA0).unwrap());
        for byte in [0x01, 0x00, 0x42] {
            assert!(bus.send(byte).unwrap());
        }
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(bench.memory()[0x100], 0x42);
    }
}

/// Source: no sheet read says it (datasheets.toml, `partial_write_abort`: unread); an axis of the model.
#[test]
fn w5_bytes_dropped_by_a_stop_in_a_byte_are_reported() {
    for (axis, dropped) in [(CutByte::DropsAll, true), (CutByte::KeepsWhole, false)] {
        let mut model = ChipModel::example_32_kbit();
        model.cut_byte = axis;
        let (bench, mut bus) = wired(model, WireConfig::IDEAL);
        bus.start().unwrap();
        assert!([0xA0, 0, 0x20, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
        bus.clock(false).unwrap();
        bus.stop().unwrap();
        bench.wait();
        assert_eq!(notes(&bench.rig).contains(&Note::DataDropped { offset: 0x20, bytes: 1 }), dropped, "{axis:?}");
        assert_eq!(bench.hazards(), if dropped { vec![Hazard::RestartAbort] } else { vec![] }, "{axis:?}");
    }
}

/// Source: MB85RC256V, DS501-00017 (FRAM: no page, no cycle); BR24G32-3A, TSZ02201-0R2R0G100050 (delivered as FFh).
#[test]
fn w10_fram_keeps_whole_bytes_when_a_byte_is_cut() {
    let mut model = fram();
    model.cut_byte = CutByte::DropsAll;
    let (bench, mut bus) = wired(model, WireConfig::IDEAL);
    bus.start().unwrap();
    assert!([0xA0, 0, 0, 0x11].into_iter().all(|byte| bus.send(byte).unwrap()));
    bus.clock(false).unwrap();
    bus.stop().unwrap();
    assert_eq!(bench.memory()[..2], [0x11, 0xFF]);
    assert!(bench.hazards().is_empty(), "stored as it arrived: nothing was dropped");
}

/// Source: BR24G08-3, TSZ02201-0R2R0G100190-1-2: START or STOP in the middle of a read leaves the address
/// undetermined.
#[test]
fn r5_an_undefined_pointer_is_noted_at_the_next_current_address_read() {
    let (bench, mut bus) = wired(ChipModel::example_2_kbit(), WireConfig::IDEAL);
    let unset = |rig: &Rig| notes(rig).iter().filter(|note| **note == Note::PointerUnset).count();
    bus.write(0x50, &[0x00]).unwrap();
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    assert_eq!(unset(&bench.rig), 0, "the header has set it");
    // An erased byte is driven: a START gets through.
    bus.start().unwrap();
    assert!(bus.send(0xA1).unwrap());
    bus.receive(false).unwrap();
    bus.stop().unwrap();
    assert_eq!(unset(&bench.rig), 1);
}

/// What a STOP or START after `bits` bits of a byte leaves of the bytes sent before it.
fn cut(model: ChipModel, sent: &[u8], bits: u8, stop: bool) -> Bench {
    let (bench, mut bus) = wired(model, WireConfig::IDEAL);
    bus.start().unwrap();
    assert!(sent.iter().all(|byte| bus.send(*byte).unwrap()));
    (0..bits).for_each(|_| assert!(bus.clock(true).unwrap()));
    if stop {
        bus.stop().unwrap()
    } else {
        bus.start().unwrap()
    }
    bench
}

/// Source: no sheet read says it (datasheets.toml, `partial_write_abort`: unread); an axis of the model.
#[test]
fn w5_what_a_cut_byte_drops_is_told_once_and_only_if_there_was_data() {
    let keeps = ChipModel { cut_byte: CutByte::KeepsWhole, ..ChipModel::example_32_kbit() };
    let byte_cut = Note::ByteCut { read: false, bits: 3 };
    let dropped = Note::DataDropped { offset: 0x20, bytes: 2 };
    for stop in [false, true] {
        for (sent, said) in [
            (&[0xA0][..], &[byte_cut][..]),
            (&[0xA0, 0, 0x20][..], &[byte_cut][..]),
            (&[0xA0, 0, 0x20, 1, 2][..], &[byte_cut, dropped][..]),
        ] {
            assert_eq!(notes(&cut(ChipModel::example_32_kbit(), sent, 3, stop).rig), said, "{sent:02X?}, STOP {stop}");
        }
    }
    // Dropped by the START, not by the cut.
    assert_eq!(notes(&cut(keeps, &[0xA0, 0, 0x20, 1, 2], 3, false).rig), [byte_cut, dropped]);
    // Who is not meant says nothing, nor does a chip whose device address is cut.
    for sent in [&[0xA0, 0, 0x20][..], &[][..]] {
        let bench = Bench::wired(ChipModel::example_32_kbit(), Straps::address(u8::from(!sent.is_empty())));
        let mut bus = bench.rig.bit_bang(WireConfig::IDEAL);
        bus.start().unwrap();
        sent.iter().for_each(|byte| assert!(!bus.send(*byte).unwrap()));
        (0..3).for_each(|_| assert!(bus.clock(true).unwrap()));
        bus.stop().unwrap();
        assert_eq!(notes(&bench.rig), []);
    }
}

/// A command is a write: what becomes of its whole bytes is the same axis. Source: 24LC65, DS21073K (security command);
/// standards.toml, spd.ee1002 (protection command).
#[test]
fn w5_a_command_that_is_cut_inside_a_byte_is_given_or_not_as_other_data_is() {
    for (axis, given) in [(CutByte::DropsAll, false), (CutByte::KeepsWhole, true)] {
        let mut security = ChipModel::example_32_kbit().with_capacity(8192);
        (security.upper_bits, security.cut_byte) = (UpperBits::SecurityCommand, axis);
        let mut protection = ChipModel::example_2_kbit();
        let mut bits = protection.device_bits;
        (bits[0], bits[1]) = (DeviceBit::Fixed(false), DeviceBit::Fixed(true));
        protection.cut_byte = axis;
        let protects = ByteRange { start: 0, len: 128 };
        protection.regions = vec![Region {
            protects,
            ..region(RegionKind::PermanentProtection, Some(bits), 0, 0, RegionAccess::ReadWrite)
        }];
        for (model, sent) in [(security, [0xA0, 0x80, 0x00, 0x8F]), (protection, [0x60, 0x00, 0x00, 0x00])] {
            let bench = cut(model.clone(), &sent, 3, true);
            assert_eq!(bench.rig.busy(bench.chip), given, "{axis:?} {}", model.name);
            bench.wait();
            bench.store(0, &[0x77]);
            assert_eq!(bench.memory()[0] == 0xFF, given, "{axis:?} {}", model.name);
            // A START drops it in any case.
            let bench = cut(model, &sent, 3, false);
            assert!(!bench.rig.busy(bench.chip), "{axis:?}");
        }
    }
}

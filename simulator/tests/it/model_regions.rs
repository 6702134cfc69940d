//! Where second regions may lie, and what of a model is written down.

use crate::common::*;
use pagewise_simulator::ChipModel;
use pagewise_simulator::model::*;

/// A device address of its own: 1011 and the pins, or 0110 and the pins.
fn code(ones: [bool; 4]) -> Option<[DeviceBit; 7]> {
    let mut bits = ChipModel::example_32_kbit().device_bits;
    (0..4).for_each(|bit| bits[bit] = DeviceBit::Fixed(ones[bit]));
    Some(bits)
}

fn page(word_address: u32, address_mask: u32, word_address_bytes: u8, len: u32) -> Region {
    Region {
        kind: RegionKind::IdentificationPage,
        device_bits: code([true, false, true, true]),
        word_address,
        address_mask,
        word_address_bytes,
        len,
        access: RegionAccess::Lockable,
        protects: ByteRange::EMPTY,
        contents: Vec::new(),
        rolls_after: 0,
        shares_pointer: false,
    }
}

fn command(kind: RegionKind, device_bits: Option<[DeviceBit; 7]>) -> Region {
    Region { kind, device_bits, ..page(0, 0, 1, 0) }
}

/// Bytes of the array.
fn inside(word_address: u32, len: u32) -> Region {
    Region { device_bits: None, ..page(word_address, 0, 2, len) }
}

fn check(regions: Vec<Region>) -> Result<(), String> {
    ChipModel { regions, ..ChipModel::example_32_kbit() }.check()
}

#[test]
fn a_region_is_reached_where_its_word_address_can_be_sent() {
    let reached = [
        page(0, 0, 2, 32),
        page(0xFF00, 0xFFFF, 2, 256),
        page(0x80, 0xFF, 1, 128),
        page(0x180, 0xFF, 1, 128),
        page(0, 0xFF, 0, 256),
        page(0, 0xFF_FFFF, 3, 65_536),
    ];
    for region in reached {
        assert_eq!(check(vec![region.clone()]), Ok(()), "{region:?}");
    }
    let hidden = [
        (page(0xFF00, 0xFFFF, 2, 257), "257 bytes at 0xFF00 are not reached by 2 word-address byte(s) of mask 0xFFFF"),
        (page(0x81, 0xFF, 1, 128), "128 bytes at 0x0081 are not reached by 1 word-address byte(s) of mask 0x00FF"),
        (page(0x180, 0x1FF, 1, 16), "16 bytes at 0x0180 are not reached by 1 word-address byte(s) of mask 0x00FF"),
        (page(0x20, 0x3F, 1, 64), "64 bytes at 0x0020 are not reached by 1 word-address byte(s) of mask 0x003F"),
        (
            page(0x100_0000, 0x1FF_FFFF, 3, 16),
            "16 bytes at 0x1000000 are not reached by 3 word-address byte(s) of mask 0xFFFFFF",
        ),
        (page(0x80, 0xFF, 0, 16), "16 bytes at 0x0080 are not reached by 0 word-address byte(s) of mask 0x0000"),
    ];
    for (region, why) in hidden {
        assert_eq!(check(vec![region]), Err(format!("region 0: {why}")));
    }
}

#[test]
fn two_regions_at_one_device_address_do_not_meet() {
    let other = |region: Region| Region { device_bits: code([false, true, true, false]), ..region };
    let (kind, another) = (RegionKind::PermanentProtection, RegionKind::ReversibleProtection);
    let (here, there) = (code([false, true, true, false]), code([false, true, true, true]));
    let apart = [
        (page(0x00, 0xFF, 1, 16), page(0x10, 0xFF, 1, 16)),
        (page(0x10, 0xFF, 1, 16), page(0x00, 0xFF, 1, 16)),
        (page(0x00, 0xFF, 1, 16), other(page(0x00, 0xFF, 1, 16))),
        (inside(0x00, 16), inside(0x10, 16)),
        (inside(0x10, 16), inside(0x00, 16)),
        (inside(0x100, 16), inside(0x00, 16)),
        (inside(0x00, 16), page(0x00, 0xFF, 1, 16)),
        (command(kind, here), command(another, here)),
        (command(kind, here), command(kind, there)),
        (command(kind, here), other(page(0x00, 0xFF, 1, 16))),
    ];
    for (one, two) in apart {
        assert_eq!(check(vec![one.clone(), two.clone()]), Ok(()), "{one:?}, {two:?}");
    }
    let meeting = [
        (page(0x00, 0xFF, 1, 17), page(0x10, 0xFF, 1, 16)),
        (page(0x10, 0xFF, 1, 16), page(0x00, 0xFF, 1, 17)),
        // Bits that one of them does not compare do not part them.
        (page(0x00, 0x0F, 1, 16), page(0x10, 0xFF, 1, 16)),
        (inside(0x00, 17), inside(0x10, 16)),
        (inside(0x10, 16), inside(0x00, 17)),
        (command(kind, here), command(kind, here)),
    ];
    for (one, two) in meeting {
        assert_eq!(check(vec![one, two]), Err("region 1: lies on region 0".into()));
    }
}

#[test]
fn what_reads_as_the_array_does_says_nothing_of_its_own() {
    let why = Err("region 0: bytes of the array are read as the array is".to_string());
    assert_eq!(check(vec![Region { rolls_after: 32, ..inside(0, 16) }]), why);
    assert_eq!(check(vec![Region { shares_pointer: true, ..inside(0, 16) }]), why);
    let why = Err("region 0: a command with 0 bytes".to_string());
    let bare = command(RegionKind::BankSelect, code([false, true, true, false]));
    assert_eq!(check(vec![Region { shares_pointer: true, ..bare.clone() }]), why);
    assert_eq!(check(vec![Region { rolls_after: 32, ..bare.clone() }]), why);
    assert_eq!(check(vec![Region { contents: vec![1], ..bare }]), why);
}

/// Source: UM10204 Rev.6 3.1.17: 1111 100, then one byte.
#[test]
fn a_device_identification_is_read_in_one_way() {
    let bits = [true, true, true, true, true, false, false].map(DeviceBit::Fixed);
    let right = Region {
        kind: RegionKind::DeviceId,
        device_bits: Some(bits),
        access: RegionAccess::ReadOnly,
        ..page(0, 0xFF, 1, 3)
    };
    assert_eq!(check(vec![right.clone()]), Ok(()));
    let wrong = [
        Region { device_bits: code([true, false, true, true]), ..right.clone() },
        Region { word_address_bytes: 2, ..right.clone() },
        Region { word_address: 1, ..right },
    ];
    for region in wrong {
        assert!(
            check(vec![region]).unwrap_err().starts_with("region 0: the device identification is read by 1111 100")
        );
    }
}

#[test]
fn every_bit_of_the_address_is_sent_somewhere() {
    let model = |capacity| ChipModel { word_address_bytes: 1, ..ChipModel::example_2_kbit() }.with_capacity(capacity);
    assert_eq!(model(256).check(), Ok(()));
    let why = "1 address bytes and the block-select bits do not reach 512 bytes";
    assert_eq!(model(512).check(), Err(why.into()));
}

/// What is 0 where 0 stands for nothing is not written down.
#[test]
fn what_is_absent_is_left_out() {
    let mut model = ChipModel::example_32_kbit();
    model.regions.push(page(0, 0, 2, 32));
    (model.speed[0].ac.t_aa_min, model.speed[0].ac.t_su_wp, model.speed[0].ac.t_hd_wp) = (0, 0, 0);
    let names = ["t_aa_min", "t_su_wp", "t_hd_wp", "rolls_after"];
    let told = |model: &ChipModel| names.map(|name| serde_json::to_string(model).unwrap().contains(name));
    model.speed.truncate(1);
    assert_eq!(told(&model), [false; 4]);
    (model.speed[0].ac.t_aa_min, model.speed[0].ac.t_su_wp, model.speed[0].ac.t_hd_wp) = (1, 2, 3);
    model.regions[0].rolls_after = 32;
    assert_eq!(told(&model), [true; 4]);
}

#[test]
fn a_write_cycle_is_as_long_as_the_shortest_grade_that_covers_the_supply() {
    let grade = |min_mv, max_mv, max_ns| CycleGrade { min_mv, max_mv, min_c: None, max_c: None, max_ns };
    let cycle = WriteCycle {
        grades: vec![grade(2500, 5500, 4_000_000), grade(4500, 5500, 3_000_000)],
        ..ChipModel::example_32_kbit().write_cycle
    };
    let longest = [1700, 2499, 2500, 4499, 4500, 5500].map(|mv| cycle.max_ns_at(mv));
    assert_eq!(longest, [5_000_000, 5_000_000, 4_000_000, 4_000_000, 3_000_000, 3_000_000]);
    assert!(eeproms().iter().all(|model| model.write_cycle.max_ns_at(3300) == model.write_cycle.max_ns));
}

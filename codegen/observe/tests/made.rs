//! Recordings made for one statement each.

use std::fs::File;

use embedded_hal::i2c::I2c;
use pagewise_observe::{Certainty, Input, Observation, observe};
use pagewise_simulator::model::PointerAfterWrite;
use pagewise_simulator::{ChipModel, CycleTime, PowerUp, Rig, RigConfig, Straps};
use serde_json::json;

fn seen(rig: &Rig) -> Observation {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bus.vcd");
    rig.write_vcd(&mut std::io::BufWriter::new(File::create(&path).unwrap())).unwrap();
    observe(&[Input::of(path)], &mut |_, _| {}).unwrap()
}

fn of_16_kbit(read_wrap: u32) -> Rig {
    let rig = Rig::new(RigConfig::default());
    let mut model = ChipModel::example_16_kbit();
    model.read_wrap = read_wrap;
    let chip = rig.attach_with(model, Straps::GROUND, PowerUp::Random);
    rig.set_write_cycle(chip, CycleTime::Max);
    rig
}

/// Enough reads back to know the word address.
fn write_and_read(rig: &Rig) {
    let mut bus = rig.bus();
    for offset in [0x10, 0x23, 0x41] {
        bus.write(0x50, &[offset, 0x5A ^ offset, 0x3C]).unwrap();
        rig.advance_ns(10_000_000);
        bus.write_read(0x50, &[offset], &mut [0; 2]).unwrap();
    }
}

#[test]
fn a_sequential_read_across_a_block_goes_on_or_wraps() {
    for (read_wrap, word) in [(2048, "goes on"), (256, "wraps")] {
        let rig = of_16_kbit(read_wrap);
        write_and_read(&rig);
        rig.bus().write_read(0x50, &[0], &mut [0; 600]).unwrap();
        let seen = seen(&rig);
        let across = seen.property("read_across_block");
        assert_eq!((&across.value, across.sure), (&json!(word), Some(Certainty::Shown)), "{across:?}");
    }
    let rig = of_16_kbit(2048);
    write_and_read(&rig);
    assert!(seen(&rig).property("read_across_block").value.is_null(), "no read went that far");
}

#[test]
fn addresses_that_are_busy_together_are_one_chip() {
    let rig = of_16_kbit(2048);
    let mut bus = rig.bus();
    bus.write_read(0x51, &[0], &mut [0; 4]).unwrap();
    for offset in [0, 16] {
        bus.write(0x50, &[offset, 1, 2, 3]).unwrap();
        while bus.write(0x51, &[0]).is_err() {
            rig.advance_ns(100_000);
        }
        bus.write_read(0x50, &[offset], &mut [0; 3]).unwrap();
    }
    let seen = seen(&rig);
    assert_eq!(seen.property("block_select_bits").value, json!(1));
    assert_eq!(seen.property("word_address_bytes").value, json!(1));
}

#[test]
fn two_chips_of_different_widths_are_told_apart() {
    let rig = Rig::new(RigConfig::default());
    for (model, strap) in [(ChipModel::example_2_kbit(), 0), (ChipModel::example_32_kbit(), 4)] {
        let chip = rig.attach(model, Straps::address(strap));
        rig.set_write_cycle(chip, CycleTime::Typical);
    }
    let mut bus = rig.bus();
    let data: Vec<u8> = (0..8_u8).map(|i| i.wrapping_mul(37) ^ 0x6B).collect();
    for round in 1..5_u8 {
        bus.write(0x50, &[&[8 * round], data.as_slice()].concat()).unwrap();
        bus.write(0x54, &[&[1, 32 * round], data.as_slice()].concat()).unwrap();
        rig.advance_ns(8_000_000);
        let mut read = [0; 8];
        bus.write_read(0x50, &[8 * round], &mut read).unwrap();
        bus.write_read(0x54, &[1, 32 * round], &mut read).unwrap();
        assert!(bus.read(0x57, &mut read).is_err());
    }
    let seen = seen(&rig);
    let width = seen.property("word_address_bytes");
    assert_eq!((&width.value, width.sure), (&json!({ "0x50": 1, "0x54": 2 }), Some(Certainty::Shown)), "{width:?}");
    assert_eq!(seen.property("absent_addresses").value, json!(["0x57"]));
}

#[test]
fn the_first_access_after_the_supply_is_measured_where_it_was_recorded() {
    let rig = of_16_kbit(2048);
    rig.set_supply_mv(0);
    rig.advance_ns(3_000_000);
    rig.set_supply_mv(3300);
    rig.advance_ns(20_000_000);
    write_and_read(&rig);
    let seen = seen(&rig);
    let first = seen.property("first_access_us");
    let us = first.value.as_f64().unwrap();
    assert!(first.sure == Some(Certainty::Shown) && (20_000.0..20_010.0).contains(&us), "{first:?}");
}

/// A part of 32 kbit with pages of 32 bytes, on which two pages are known, and one is written to its end and read on.
fn read_on(pointer: PointerAfterWrite, crossed: bool) -> Observation {
    let rig = Rig::new(RigConfig::default());
    let model = ChipModel { pointer_after_write: pointer, ..ChipModel::example_32_kbit() };
    let chip = rig.attach(model, Straps::GROUND);
    rig.set_write_cycle(chip, CycleTime::Exact(3_000_000));
    let mut bus = rig.bus();
    let mut write = |offset: u8, bytes: Vec<u8>| {
        bus.write(0x50, &[&[0, offset][..], &bytes].concat()).unwrap();
        rig.advance_ns(5_000_000);
        bus.write_read(0x50, &[0, offset], &mut vec![0; bytes.len()]).unwrap();
    };
    for page in 2..6 {
        write(page * 32, (0..32).map(|byte| (byte * 3) ^ (page * 41)).collect());
    }
    if crossed {
        // Across a page end, which shows the page of the part; both pages are read afterwards.
        write(0x70, (0..32).map(|byte| byte ^ 0xA5).collect());
    }
    // A write may have changed any byte of the largest page that it may lie in.
    bus.write_read(0x50, &[0, 0x40], &mut [0; 128]).unwrap();
    bus.write(0x50, &[&[0, 0x40][..], &[0x5A; 32]].concat()).unwrap();
    rig.advance_ns(5_000_000);
    bus.read(0x50, &mut [0; 8]).unwrap();
    seen(&rig)
}

#[test]
fn a_read_without_a_word_address_behind_a_page_shows_the_pointer() {
    for crossed in [false, true] {
        let seen = read_on(PointerAfterWrite::WrappedInPage, crossed);
        let pointer = seen.property("pointer_after_write");
        assert_eq!((&pointer.value, pointer.sure), (&json!("wrapped-in-page"), Some(Certainty::Shown)), "{pointer:?}");
    }
    let seen = read_on(PointerAfterWrite::LastPlusOne, true);
    let (page, pointer) = (seen.property("part_page_bytes"), seen.property("pointer_after_write"));
    assert_eq!((&page.value, page.sure), (&json!(32), Some(Certainty::Shown)), "{page:?}");
    assert_eq!((&pointer.value, pointer.sure), (&json!("last-plus-one"), Some(Certainty::Shown)), "{pointer:?}");
    // Where the page is not known, the write may have ended in the middle of one, and every pointer goes on there.
    let unknown = read_on(PointerAfterWrite::LastPlusOne, false);
    assert!(unknown.property("pointer_after_write").value.is_null());
}

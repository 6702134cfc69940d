#![no_main]

#[path = "../bodies/rig.rs"]
mod rig;

use std::sync::OnceLock;

use pagewise_driver::{Geometry, Parameters};
use pagewise_simulator::model::DeviceBit::{Block, Fixed, Pin};
use pagewise_simulator::{ChipModel, Straps};
use rig::Part;

/// One part of each way to address: one byte, block-select bits, two bytes, three bytes, and a page of one byte.
fn parts() -> &'static [Part] {
    static PARTS: OnceLock<Vec<Part>> = OnceLock::new();
    PARTS.get_or_init(|| {
        let mut large = ChipModel::example_32_kbit();
        (large.capacity, large.read_wrap, large.page) = (131_072, 65_536, 128);
        large.device_bits = [Fixed(true), Fixed(false), Fixed(true), Fixed(false), Block(0), Pin(1), Pin(0)];
        let mut three = ChipModel::example_32_kbit();
        (three.capacity, three.read_wrap, three.page, three.word_address_bytes) = (262_144, 262_144, 256, 3);
        let mut bytewise = ChipModel::example_2_kbit();
        bytewise.page = 1;
        let one = ChipModel::example_2_kbit();
        let blocks = ChipModel::example_16_kbit();
        let two = ChipModel::example_32_kbit();
        let all = [(one, 0, 0), (blocks, 3, 0), (two, 0, 0), (large, 1, 2), (three, 0, 0), (bytewise, 0, 0)];
        all.into_iter().map(|(model, bits, shift)| part(model, bits, shift)).collect()
    })
}

fn part(model: ChipModel, block_select_bits: u8, block_select_shift: u8) -> Part {
    let geometry = Geometry::new(
        Parameters::new()
            .with_capacity_bytes(model.capacity)
            .with_page_bytes(model.page)
            .with_word_address_bytes(model.word_address_bytes)
            .with_block_select_bits(block_select_bits)
            .with_block_select_shift(block_select_shift)
            .with_sequential_read_bytes(model.read_wrap)
            .with_write_cycle_us(5_000),
    );
    Part { writable: 0..model.capacity, model, geometry, straps: Straps::default(), scl_hz: 400_000, supply_mv: 3300 }
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(reason) = rig::run(bytes, parts()) {
        panic!("{reason}");
    }
});

use pagewise_driver::{Geometry, Parameters};

const PART: Geometry = Geometry::new(Parameters {
    capacity_bytes: 4096,
    page_bytes: 32,
    word_address_bytes: 2,
    device_address: 0xA0,
    block_select_bits: 0,
    block_select_shift: 0,
    sequential_read_bytes: 4096,
    write_cycle_us: 5_000,
});

fn main() {
    let _ = PART;
}

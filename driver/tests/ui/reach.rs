use pagewise_driver::{Geometry, Parameters};

const PART: Geometry = Geometry::new(Parameters {
    capacity_bytes: 4096,
    page_bytes: 32,
    word_address_bytes: 1,
    device_address: 0x50,
    block_select_bits: 0,
    block_select_shift: 0,
    sequential_read_bytes: 4096,
    write_cycle_us: 5_000,
});

fn main() {
    let _ = PART;
}

use pagewise_driver::{Geometry, Parameters};

const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32).with_word_address_bytes(1).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));

fn main() {
    let _ = PART;
}

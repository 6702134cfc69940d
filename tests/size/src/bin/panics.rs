//! The control: an image that can panic.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m_rt::entry;
use pagewise_size::measure;

#[entry]
fn main() -> ! {
    measure(0, || {
        let bytes = black_box([1, 2, 3]);
        black_box(bytes[black_box(1)]);
    })
}

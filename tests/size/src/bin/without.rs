//! The image without the driver: the same calls, straight on the bus.
#![no_std]
#![no_main]

use core::cell::Cell;
use core::hint::black_box;

use cortex_m_rt::entry;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_size::{SCRIPTS, StubBus, StubDelay, measure};

#[entry]
fn main() -> ! {
    let script = Cell::new(SCRIPTS[0]);
    let (mut bus, mut delay) = (StubBus(&script), StubDelay);
    let mut bytes = [0; 100];
    measure(0, || {
        for one in SCRIPTS {
            script.set(one);
            let _ = black_box(bus.write(0x50, black_box(&bytes)));
            delay.delay_us(50);
            let _ = black_box(bus.write_read(0x50, &[0, 0], black_box(&mut bytes)));
            let _ = black_box(bus.read(0x50, black_box(&mut bytes)));
        }
    })
}

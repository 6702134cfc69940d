//! The same with the driver: blocking read and write with acknowledge polling, one constant part.
#![no_std]
#![no_main]

use core::cell::Cell;
use core::hint::black_box;

use cortex_m_rt::entry;
use pagewise_driver::{Eeprom, Options};
use pagewise_size::{PART, SCRIPTS, StubBus, StubDelay, measure};

#[entry]
fn main() -> ! {
    let script = Cell::new(SCRIPTS[0]);
    let mut eeprom = Eeprom::<_, _, { PART.buffer_bytes() }>::new(StubBus(&script), StubDelay, PART, Options::new());
    let mut bytes = [0; 100];
    measure(size_of_val(&eeprom) - PART.buffer_bytes(), || {
        for one in SCRIPTS {
            script.set(one);
            let _ = black_box(eeprom.write(black_box(0x0123), black_box(&bytes)));
            let _ = black_box(eeprom.read(black_box(0x0123), black_box(&mut bytes)));
        }
    })
}

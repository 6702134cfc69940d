//! With the record store on top: a calibration record and a counter.
#![no_std]
#![no_main]

use core::cell::Cell;
use core::hint::black_box;

use cortex_m_rt::entry;
use pagewise_driver::records::{RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{Eeprom, Options};
use pagewise_size::{PART, SCRIPTS, StubBus, StubDelay, measure};

const LAYOUT: RecordLayout<'static> =
    RecordLayout::new(&PART, 0x0100, &[RecordSpec::new(1, 19, 3), RecordSpec::new(2, 8, 8)]);

#[entry]
fn main() -> ! {
    let script = Cell::new(SCRIPTS[0]);
    let eeprom = Eeprom::<_, _, { PART.buffer_bytes() }>::new(StubBus(&script), StubDelay, PART, Options::new());
    let mut records = RecordStore::<_, 32>::new(eeprom, LAYOUT);
    let mut bytes = [0; 100];
    measure(size_of_val(&records) - PART.buffer_bytes() - 32, || {
        for one in SCRIPTS {
            script.set(one);
            let _ = black_box(records.medium_mut().write(black_box(0x0123), black_box(&bytes)));
            let _ = black_box(records.medium_mut().read(black_box(0x0123), black_box(&mut bytes)));
            let _ = black_box(records.write(black_box(1), black_box(1), black_box(&bytes[..19])));
            let _ = black_box(records.read(black_box(1), black_box(&mut bytes)));
            let _ = black_box(records.increment(black_box(2)));
        }
    })
}

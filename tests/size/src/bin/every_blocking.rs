//! Every blocking call of the driver, and all adapters: none of it may panic.
#![no_std]
#![no_main]

use core::cell::Cell;
use core::hint::black_box;

use cortex_m_rt::entry;
use embedded_io::{Read, Seek, SeekFrom, Write};
use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};
use pagewise_driver::records::{RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{
    Candidate, Chips, Cursor, Eeprom, FlashLike, Irreversible, LongerHeader, Memory, MultiwriteFlash, Options,
    Protected, Trust, WriteProtectTiming, choose, free_bus,
};
use pagewise_size::{BusError, IDENTIFICATION, PART, SCRIPTS, Script, StubBus, StubDelay, StubPin, measure};

const BUFFER: usize = PART.buffer_bytes();

fn blocking(script: &Cell<Script>, offset: u32, bytes: &mut [u8]) {
    let mut eeprom = Eeprom::<_, _, BUFFER>::new(StubBus(script), StubDelay, PART, black_box(Options::new()));
    let mut trust = Trust::new();
    let _ = black_box(eeprom.read(offset, bytes));
    let _ = black_box(eeprom.write(offset, bytes));
    let _ = black_box(eeprom.write_verified(offset, bytes));
    let _ = black_box(eeprom.fill(offset, bytes.len(), 0));
    let _ = black_box(eeprom.compare(offset, bytes));
    let _ = black_box(eeprom.update(offset, bytes, &mut trust));
    let _ = black_box(eeprom.current_address_read(bytes));
    let _ = black_box(eeprom.wait_ready());
    let _ = black_box(eeprom.region(IDENTIFICATION).read(offset, bytes));
    let _ = black_box(eeprom.region(IDENTIFICATION).write(offset, bytes));
    let _ = black_box(eeprom.region(IDENTIFICATION).lock(Irreversible::i_know_that_this_cannot_be_undone()));
    let mut cursor = Cursor::new(&mut eeprom);
    let _ = black_box(cursor.seek(black_box(SeekFrom::Start(u64::from(offset)))));
    let _ = black_box(cursor.read(bytes));
    let _ = black_box(cursor.write(bytes));
    let _ = black_box(cursor.flush());
    let mut flash = FlashLike::<_, 32, 64>::new(eeprom);
    let _ = black_box(NorFlash::erase(&mut flash, offset, offset));
    let _ = black_box(NorFlash::write(&mut flash, offset, bytes));
    let _ = black_box(ReadNorFlash::read(&mut flash, offset, bytes));
    let mut flash = MultiwriteFlash::<_, 32, 64>::new(flash.release());
    let _ = black_box(NorFlash::write(&mut flash, offset, bytes));
    if let Ok(mut chips) = Chips::new(flash.release(), black_box([0x50, 0x51])) {
        let _ = black_box(chips.read(offset, bytes));
        let _ = black_box(chips.write(offset, bytes));
        let _ = black_box(chips.write_verified(offset, bytes));
        let _ = black_box(chips.fill(offset, bytes.len(), 0));
        let _ = black_box(chips.update(offset, bytes, &mut trust));
        let _ = black_box(chips.compare(offset, bytes));
        let _ = black_box(chips.wait_ready());
    }
}

fn guarded(script: &Cell<Script>, offset: u32, bytes: &mut [u8]) {
    let eeprom = Eeprom::<_, _, BUFFER>::new(StubBus(script), StubDelay, PART, Options::new());
    let Ok(mut guarded) = Protected::new::<BusError>(eeprom, StubPin, WriteProtectTiming::new()) else {
        return;
    };
    let _ = black_box(guarded.read(offset, bytes));
    let _ = black_box(guarded.compare(offset, bytes));
    let _ = black_box(guarded.write(offset, bytes));
    let _ = black_box(guarded.write_verified(offset, bytes));
    let _ = black_box(guarded.fill(offset, bytes.len(), 0));
    let _ = black_box(guarded.update(offset, bytes, &mut Trust::new()));
    let specs = black_box([RecordSpec::new(1, 19, 3)]);
    if let Ok(layout) = RecordLayout::try_new(&PART, offset, &specs) {
        let mut records = RecordStore::<_, 32>::new(guarded, layout);
        let _ = black_box(records.read(black_box(1), bytes));
        let _ = black_box(records.write(black_box(1), 1, bytes));
        let _ = black_box(records.count(black_box(1)));
        let _ = black_box(records.increment(black_box(1)));
        let _ = black_box(records.erase(black_box(1)));
    }
}

#[entry]
fn main() -> ! {
    let script = Cell::new(SCRIPTS[0]);
    let mut bytes = [0; 100];
    measure(0, || {
        for one in SCRIPTS {
            script.set(one);
            for (offset, length) in black_box([(0x0123, 100), (0x0100, 19), (0xFFFF_FFFF, 1)]) {
                let Some(bytes) = bytes.get_mut(..length) else { continue };
                blocking(&script, offset, bytes);
                guarded(&script, offset, bytes);
                let a = Candidate::new(PART, offset, 4);
                let b = Candidate::new(PART, 0, 4);
                let _ = black_box(choose(
                    &mut StubBus(&script),
                    &mut StubDelay,
                    &[a, b],
                    bytes,
                    &Options::new(),
                    LongerHeader::AfterShorter,
                    |index, _| black_box(index) == 0,
                ));
            }
            let _ = black_box(free_bus(&mut StubPin, &mut StubPin, &mut StubDelay, 5));
        }
    })
}

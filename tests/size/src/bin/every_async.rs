//! Every async call of the driver: nothing in it may panic but what the compiler puts into each async function.
#![no_std]
#![no_main]

use core::cell::Cell;
use core::hint::black_box;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use cortex_m_rt::entry;
use embedded_storage_async::nor_flash::{NorFlash, ReadNorFlash};
use pagewise_driver::records::{AsyncRecordStore, RecordLayout, RecordSpec};
use pagewise_driver::{
    AsyncEeprom, AsyncMemory, Candidate, Chips, FlashLike, Irreversible, LongerHeader, Options, Protected, Trust,
    WriteProtectTiming, choose_async,
};
use pagewise_size::{BusError, IDENTIFICATION, PART, SCRIPTS, Script, StubBus, StubDelay, StubPin, measure};

const BUFFER: usize = PART.buffer_bytes();

/// Runs a future that never has to wait.
fn now<T>(future: impl Future<Output = T>) {
    let mut future = pin!(future);
    while let Poll::Pending = future.as_mut().poll(&mut Context::from_waker(Waker::noop())).map(drop) {}
}

fn every(script: &Cell<Script>, offset: u32, bytes: &mut [u8]) {
    let mut eeprom = AsyncEeprom::<_, _, BUFFER>::new(StubBus(script), StubDelay, PART, black_box(Options::new()));
    let mut trust = Trust::new();
    now(eeprom.read(offset, bytes));
    now(eeprom.write(offset, bytes));
    now(eeprom.write_verified(offset, bytes));
    now(eeprom.fill(offset, bytes.len(), 0));
    now(eeprom.compare(offset, bytes));
    now(eeprom.update(offset, bytes, &mut trust));
    now(eeprom.current_address_read(bytes));
    now(eeprom.wait_ready());
    now(eeprom.region(IDENTIFICATION).read(offset, bytes));
    now(eeprom.region(IDENTIFICATION).write(offset, bytes));
    now(eeprom.region(IDENTIFICATION).lock(Irreversible::i_know_that_this_cannot_be_undone()));
    let mut flash = FlashLike::<_, 32, 64>::new(eeprom);
    now(NorFlash::erase(&mut flash, offset, offset));
    now(NorFlash::write(&mut flash, offset, bytes));
    now(ReadNorFlash::read(&mut flash, offset, bytes));
    if let Ok(mut chips) = Chips::new(flash.release(), black_box([0x50, 0x51])) {
        now(chips.write(offset, bytes));
        now(chips.compare(offset, bytes));
        now(chips.read(offset, bytes));
        now(chips.write_verified(offset, bytes));
        now(chips.fill(offset, bytes.len(), 0));
        now(chips.update(offset, bytes, &mut trust));
        now(chips.wait_ready());
        if let Ok(mut guarded) = Protected::new::<BusError>(chips.release(), StubPin, WriteProtectTiming::new()) {
            now(guarded.write(offset, bytes));
            now(guarded.update(offset, bytes, &mut trust));
            now(guarded.read(offset, bytes));
            now(guarded.compare(offset, bytes));
            now(guarded.write_verified(offset, bytes));
            now(guarded.fill(offset, bytes.len(), 0));
            records(guarded, offset, bytes);
        }
    }
}

fn records(medium: impl AsyncMemory, offset: u32, bytes: &mut [u8]) {
    let specs = black_box([RecordSpec::new(1, 19, 3)]);
    if let Ok(layout) = RecordLayout::try_new(&PART, offset, &specs) {
        let mut records = AsyncRecordStore::<_, 32>::new(medium, layout);
        now(records.read(black_box(1), bytes));
        now(records.write(black_box(1), 1, bytes));
        now(records.count(black_box(1)));
        now(records.increment(black_box(1)));
        now(records.erase(black_box(1)));
    }
}

fn choice(script: &Cell<Script>, offset: u32, bytes: &mut [u8]) {
    let a = Candidate::new(PART, offset, 4);
    let b = Candidate::new(PART, 0, 4);
    now(choose_async(
        &mut StubBus(script),
        &mut StubDelay,
        &[a, b],
        bytes,
        &Options::new(),
        LongerHeader::AfterShorter,
        |index, _| black_box(index) == 0,
    ));
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
                every(&script, offset, bytes);
                choice(&script, offset, bytes);
            }
        }
    })
}

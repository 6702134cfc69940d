//! The traits of embedded-storage and embedded-io.
#![cfg(all(feature = "storage", feature = "io"))]

use crate::common::*;
use embedded_io::{ErrorKind as IoKind, Read, Seek, SeekFrom, Write};
use embedded_storage::nor_flash::{MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use embedded_storage::{ReadStorage, Storage};
use pagewise_driver::{
    Chips, Cursor, Eeprom, Error, FlashLike, MultiwriteFlash, Options, Protected, WriteProtectTiming,
};

#[test]
fn storage_traits_read_and_write_anywhere_without_touching_neighbours() {
    fn through(storage: &mut impl Storage<Error: std::fmt::Debug>) {
        assert_eq!(storage.capacity(), 4096);
        storage.write(30, &[1, 2, 3, 4]).unwrap();
        let mut back = [0; 4];
        storage.read(30, &mut back).unwrap();
        assert_eq!(back, [1, 2, 3, 4]);
    }
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let before = chip.borrow().memory.clone();
    let mut eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    through(&mut eeprom);
    assert_eq!(ReadStorage::capacity(&eeprom), 4096);
    let after = chip.borrow().memory.clone();
    assert_eq!((&after[..30], &after[34..]), (&before[..30], &before[34..]));
}

type Shared = std::rc::Rc<std::cell::RefCell<FakeChip>>;

fn two_chips() -> (Shared, Shared, Bus, Clock) {
    let (one, _, _) = rig(KBIT_32.parameters());
    let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
    let parts = vec![one.clone(), two.clone()];
    (one, two, Bus(parts.clone()), Clock(parts))
}

#[test]
fn several_chips_behind_a_wp_pin_have_every_adapter() {
    let (one, two, bus, clock) = two_chips();
    let eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new().with_lazy(true));
    let chips = Chips::new(eeprom, [0x50, 0x51]).unwrap();
    let mut memory = Protected::new::<embedded_hal::i2c::ErrorKind>(chips, Pin, WriteProtectTiming::new()).unwrap();
    assert_eq!(ReadStorage::capacity(&memory), 8192);
    Storage::write(&mut memory, 4094, &[1, 2, 3, 4]).unwrap();
    let mut back = [0; 4];
    ReadStorage::read(&mut memory, 4094, &mut back).unwrap();
    assert_eq!(back, [1, 2, 3, 4]);
    let mut cursor = Cursor::new(&mut memory);
    cursor.seek(SeekFrom::Start(4095)).unwrap();
    cursor.write_all(&[7, 8]).unwrap();
    cursor.flush().unwrap();
    assert!(two.borrow().now_us >= two.borrow().busy_until_us, "what was written is stored");
    assert_eq!((one.borrow().memory[4095], two.borrow().memory[0]), (7, 8));
    let mut flash = FlashLike::<_, 32, 64>::new(&mut memory);
    flash.erase(4032, 4160).unwrap();
    assert!(two.borrow().memory[..64].iter().all(|byte| *byte == 0xFF));
    assert_eq!(ReadNorFlash::capacity(&flash), 8192);
}

#[test]
fn a_second_write_of_a_multiwrite_flash_clears_bits_and_is_always_made() {
    fn second(flash: &mut impl MultiwriteNorFlash, bytes: &[u8]) {
        flash.write(64, bytes).unwrap();
    }
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let mut flash = MultiwriteFlash::<_, 4, 64>::new(eeprom);
    flash.erase(64, 128).unwrap();
    second(&mut flash, &[0xF0, 0x0F, 0x55, 0xFF, 1, 2, 3, 4]);
    second(&mut flash, &[0x3C, 0x3C, 0xFF, 0x00, 0xFF, 0xFF, 0xFF, 0xFF]);
    assert_eq!(chip.borrow().memory[64..72], [0x30, 0x0C, 0x55, 0x00, 1, 2, 3, 4]);
    // Bytes that read right may be half-written: they are written all the same.
    let writes = chip.borrow().page_writes;
    second(&mut flash, &[0xFF; 8]);
    assert_eq!(chip.borrow().page_writes, writes + 2);
    let error = flash.write(66, &[0; 4]).unwrap_err();
    assert_eq!(error, Error::NotAligned { offset: 66, length: 4, unit: 4 });
    chip.borrow_mut().protect = Protect::NackData;
    assert!(matches!(flash.write(64, &[0; 8]), Err(Error::WriteProtected { offset: 64, safe_bytes: 0, .. })));
    chip.borrow_mut().protect = Protect::Off;
}

#[test]
fn a_multiwrite_flash_counts_the_units_that_are_safe() {
    let mut counts = std::collections::BTreeSet::new();
    for call in 0.. {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
        let mut flash = MultiwriteFlash::<_, 4, 64>::new(eeprom);
        chip.borrow_mut().fail_call = Some((call, embedded_hal::i2c::ErrorKind::Bus));
        let Err(error) = flash.write(64, &[0; 8]) else { break };
        let safe = error.safe_bytes();
        assert!(chip.borrow().memory[64..64 + safe].iter().all(|byte| *byte == 0), "call {call}");
        counts.insert(safe);
    }
    assert_eq!(counts.into_iter().collect::<Vec<_>>(), [0, 4]);
}

#[test]
fn nor_flash_erases_whole_units_to_ff_and_refuses_others() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut flash = FlashLike::<_, 2, 128>::new(Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new()));
    flash.erase(128, 384).unwrap();
    assert!(chip.borrow().memory[128..384].iter().all(|byte| *byte == 0xFF));
    assert_ne!(chip.borrow().memory[127], 0xFF);
    assert_ne!(chip.borrow().memory[384], 0xFF);
    flash.write(130, &[1, 2]).unwrap();
    let mut back = [0; 4];
    flash.read(129, &mut back).unwrap();
    assert_eq!(back, [0xFF, 1, 2, 0xFF]);
    assert_eq!(ReadNorFlash::capacity(&flash), 4096);
    flash.erase(256, 256).unwrap();
    let kind = |from, to, flash: &mut FlashLike<_, 2, 128>| NorFlash::erase(flash, from, to).unwrap_err().kind();
    assert_eq!(kind(1, 129, &mut flash), NorFlashErrorKind::NotAligned);
    assert_eq!(kind(0, 100, &mut flash), NorFlashErrorKind::NotAligned);
    assert_eq!(kind(0, 8192, &mut flash), NorFlashErrorKind::OutOfBounds);
    assert_eq!(kind(256, 128, &mut flash), NorFlashErrorKind::OutOfBounds);
    for (offset, length) in [(1, 2), (2, 3), (3, 3)] {
        let error = flash.write(offset, &vec![0; length]).unwrap_err();
        assert_eq!(error, Error::NotAligned { offset, length, unit: 2 });
    }
    chip.borrow_mut().present = false;
    assert_eq!(kind(0, 128, &mut flash), NorFlashErrorKind::Other);
}

#[test]
fn io_cursor_reads_writes_and_seeks_up_to_the_end() {
    let (chip, bus, clock) = rig(KBIT_1.parameters());
    let mut eeprom = Eeprom::<_, _, 9>::new(bus, clock, KBIT_1, Options::new().with_lazy(true));
    let mut cursor = Cursor::new(&mut eeprom);
    cursor.write_all(&[5; 20]).unwrap();
    cursor.flush().unwrap();
    assert!(chip.borrow().now_us >= chip.borrow().busy_until_us);
    assert_eq!(cursor.position(), 20);
    assert_eq!(cursor.seek(SeekFrom::Current(-10)), Ok(10));
    let mut back = [0; 12];
    cursor.read_exact(&mut back).unwrap();
    assert_eq!(back[..10], [5; 10]);
    assert_eq!(back[10..], chip.borrow().memory[20..22]);
    assert_eq!(cursor.seek(SeekFrom::End(-3)), Ok(125));
    assert_eq!(cursor.write(&[1, 2, 3, 4]), Ok(3));
    assert_eq!(cursor.write(&[1]), Err(Error::OutOfRange { offset: 128, length: 1, capacity: 128 }));
    assert_eq!(cursor.write(&[]), Ok(0));
    assert_eq!(cursor.read(&mut back), Ok(0));
    assert_eq!(cursor.seek(SeekFrom::Start(128)), Ok(128));
    // Where there is no such offset, the error names the largest.
    let none = u32::MAX;
    for (bad, offset) in [
        (SeekFrom::Start(129), 129),
        (SeekFrom::Start(u64::MAX), none),
        (SeekFrom::Current(-129), none),
        (SeekFrom::End(1), 129),
    ] {
        let error = cursor.seek(bad).unwrap_err();
        assert_eq!(error, Error::OutOfRange { offset, length: 0, capacity: 128 });
        assert_eq!(embedded_io::Error::kind(&error), IoKind::InvalidInput);
    }
    assert_eq!(cursor.position(), 128);
}

#[test]
fn each_error_has_its_kind_among_those_of_embedded_io() {
    let told: [(Error<()>, IoKind); 11] = [
        (Error::OutOfRange { offset: 0, length: 1, capacity: 0 }, IoKind::InvalidInput),
        (Error::BufferTooSmall { needed: 3 }, IoKind::InvalidInput),
        (Error::NotAligned { offset: 1, length: 1, unit: 8 }, IoKind::InvalidInput),
        (Error::NotAnswering { source: (), safe_bytes: 0 }, IoKind::NotConnected),
        (Error::WriteProtected { offset: 0, safe_bytes: 0, source: () }, IoKind::PermissionDenied),
        (Error::WriteCycleOverrun { polls: 1, waited_us: 0, safe_bytes: 0 }, IoKind::TimedOut),
        (Error::Verify { offset: 0, expected: 1, found: 2, safe_bytes: 0 }, IoKind::InvalidData),
        (Error::Unsupported, IoKind::Unsupported),
        (Error::Bus { source: (), safe_bytes: 0 }, IoKind::Other),
        (Error::WriteProtectPin { safe_bytes: 0 }, IoKind::Other),
        (Error::OutOfStep, IoKind::Other),
    ];
    for (error, kind) in told {
        assert_eq!(embedded_io::Error::kind(&error), kind, "{error}");
    }
}

#[cfg(feature = "async")]
mod asynch {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use embedded_storage_async::nor_flash::NorFlash;
    use pagewise_driver::AsyncEeprom;

    use super::*;

    #[test]
    fn async_storage_traits_do_the_same() {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let eeprom = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
        let mut flash = FlashLike::<_, 1, 64>::new(eeprom);
        assert_eq!(embedded_storage_async::nor_flash::ReadNorFlash::capacity(&flash), 4096);
        now(flash.erase(64, 128)).unwrap();
        now(NorFlash::write(&mut flash, 100, &[1, 2, 3])).unwrap();
        assert_eq!(chip.borrow().memory[99..104], [0xFF, 1, 2, 3, 0xFF]);
        assert_eq!(now(flash.erase(64, 127)).unwrap_err().kind(), NorFlashErrorKind::NotAligned);
        let mut eeprom = flash.release();
        assert_eq!(embedded_storage_async::ReadStorage::capacity(&eeprom), 4096);
        now(embedded_storage_async::Storage::write(&mut eeprom, 0, &[9])).unwrap();
        let mut back = [0];
        now(embedded_storage_async::ReadStorage::read(&mut eeprom, 0, &mut back)).unwrap();
        assert_eq!(back, [9]);
    }

    #[test]
    fn an_async_cursor_does_what_the_blocking_one_does() {
        use embedded_io_async::{Read, Seek, Write};
        let (one, two, bus, clock) = two_chips();
        let eeprom =
            AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new().with_lazy(true));
        let mut chips = Chips::new(eeprom, [0x50, 0x51]).unwrap();
        let mut cursor = Cursor::new(&mut chips);
        assert_eq!(now(cursor.seek(SeekFrom::Start(4094))), Ok(4094));
        now(cursor.write_all(&[5, 6, 7])).unwrap();
        now(cursor.flush()).unwrap();
        assert!(two.borrow().now_us >= two.borrow().busy_until_us, "what was written is stored");
        assert_eq!((one.borrow().memory[4095], two.borrow().memory[0]), (6, 7));
        now(cursor.seek(SeekFrom::Current(-3))).unwrap();
        let mut back = [0; 3];
        now(cursor.read_exact(&mut back)).unwrap();
        assert_eq!((back, cursor.position()), ([5, 6, 7], 4097));
        now(cursor.seek(SeekFrom::End(0))).unwrap();
        assert_eq!(now(cursor.read(&mut back)), Ok(0));
        let error = Error::OutOfRange { offset: 8192, length: 1, capacity: 8192 };
        assert_eq!(now(cursor.write(&[1])), Err(error));
        let error = Error::OutOfRange { offset: 8193, length: 0, capacity: 8192 };
        assert_eq!(now(cursor.seek(SeekFrom::End(1))), Err(error));
    }

    #[test]
    fn the_async_multiwrite_flash_clears_bits_too() {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let eeprom = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
        let mut flash = MultiwriteFlash::<_, 2, 64>::new(eeprom);
        fn second<F: embedded_storage_async::nor_flash::MultiwriteNorFlash>(flash: &mut F, bytes: &[u8]) {
            now(flash.write(64, bytes)).unwrap();
        }
        now(flash.erase(64, 128)).unwrap();
        second(&mut flash, &[0xF0, 0x0F]);
        second(&mut flash, &[0x3C, 0x3C]);
        assert_eq!(chip.borrow().memory[64..66], [0x30, 0x0C]);
    }
}

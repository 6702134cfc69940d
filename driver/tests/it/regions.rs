//! Regions beside the array.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::i2c::ErrorKind;
use pagewise_driver::*;

use crate::common::*;

pub(crate) const PAGE: RegionParameters = RegionParameters::new()
    .with_device_address(0x58)
    .with_word_address_bytes(2)
    .with_word_address(0x0800)
    .with_length_bytes(32)
    .with_page_bytes(32)
    .with_access(RegionAccess::Lockable(Lock::new(0x58, 0x0C00, 2)));

#[test]
fn regions_are_read_written_and_locked_at_their_own_address() {
    let (array, _, _) = rig(KBIT_32.parameters());
    let (page, _, _) = rig(KBIT_32.parameters().with_device_address(0x58));
    let parts = vec![array.clone(), page.clone()];
    let mut eeprom = Eeprom::<_, _, 34>::new(Bus(parts.clone()), Clock(parts), KBIT_32, Options::new());
    let region = Region::try_new(PAGE).unwrap();
    eeprom.region(region).write(3, &[1, 2, 3]).unwrap();
    assert_eq!(page.borrow().memory[0x803..0x806], [1, 2, 3]);
    let mut back = [0; 32];
    eeprom.region(region).read(0, &mut back).unwrap();
    assert_eq!(back, page.borrow().memory[0x800..0x820]);
    eeprom.region(region).lock(Irreversible::i_know_that_this_cannot_be_undone()).unwrap();
    assert!(page.borrow().calls.contains(&Call::Write(0x58, vec![0x0C, 0x00, 2], true)));
    assert_eq!(array.borrow().calls, []);
    assert_eq!(eeprom.geometry(), &KBIT_32);
    eeprom.write(0, &[7]).unwrap();
    assert_eq!(array.borrow().memory[0], 7);
}

#[test]
fn regions_refuse_what_they_cannot_do_before_anything_is_sent() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let serial = Region::try_new(PAGE.with_access(RegionAccess::ReadOnly)).unwrap();
    assert_eq!(eeprom.region(serial).write(0, &[1]), Err(Error::Unsupported));
    let token = Irreversible::i_know_that_this_cannot_be_undone();
    assert_eq!(eeprom.region(serial).lock(token), Err(Error::Unsupported));
    let error = Error::OutOfRange { offset: 30, length: 3, capacity: 32 };
    assert_eq!(eeprom.region(serial).read(30, &mut [0; 3]), Err(error));
    assert_eq!(eeprom.region(serial).read(32, &mut []), Ok(()));
    let short = Region::try_new(
        PAGE.with_word_address_bytes(1)
            .with_word_address(0)
            .with_access(RegionAccess::Lockable(Lock::new(0x58, 0x80, 2))),
    );
    let short = short.unwrap();
    assert_eq!(eeprom.region(short).read(0, &mut [0]), Err(Error::Unsupported));
    assert_eq!(eeprom.region(short).write(0, &[1]), Err(Error::Unsupported));
    let token = Irreversible::i_know_that_this_cannot_be_undone();
    assert_eq!(eeprom.region(short).lock(token), Err(Error::Unsupported));
    assert_eq!(chip.borrow().calls, []);
}

/// A part that is met at 0x50 and, as its identification page, at 0x58.
fn with_page(options: Options) -> (Rc<RefCell<FakeChip>>, Eeprom<Bus, Clock, 34>, Region) {
    let two_addresses = KBIT_32.parameters().with_block_select_bits(1).with_block_select_shift(3);
    let (chip, bus, clock) = rig(two_addresses);
    (chip, Eeprom::new(bus, clock, KBIT_32, options), Region::try_new(PAGE).unwrap())
}

#[test]
fn regions_are_waited_for_as_long_as_the_array_and_by_the_next_call_if_lazy() {
    for wait in [Wait::Poll, Wait::Fixed] {
        for lazy in [false, true] {
            let (chip, mut eeprom, page) = with_page(Options::new().with_wait(wait).with_lazy(lazy));
            eeprom.region(page).write(0, &[1, 2]).unwrap();
            assert_eq!(chip.borrow().now_us < chip.borrow().busy_until_us, lazy);
            // An error that no wait repairs, so that only waiting first helps.
            chip.borrow_mut().nack = if wait == Wait::Fixed { ErrorKind::Bus } else { chip.borrow().nack };
            let calls = chip.borrow().calls.len();
            eeprom.read(7, &mut []).unwrap();
            eeprom.region(page).read(0, &mut []).unwrap();
            assert_eq!(chip.borrow().calls.len(), calls, "a zero length sends nothing, not even a poll");
            eeprom.read(7, &mut [0; 3]).unwrap();
            let refused = |call: &&Call| matches!(call, Call::Read(.., false));
            assert_eq!(chip.borrow().calls.iter().filter(refused).count(), 0, "{wait:?}, lazy: {lazy}");
        }
    }
}

#[test]
fn regions_that_fail_are_waited_for_by_the_next_call_only_if_a_write_may_be_in_its_cycle() {
    let (chip, mut eeprom, page) = with_page(Options::new());
    chip.borrow_mut().cycle_us = 15_000;
    let error = eeprom.region(page).write(0, &[1, 2]).unwrap_err();
    assert!(matches!(error, Error::WriteCycleOverrun { safe_bytes: 0, .. }), "{error}");
    eeprom.read(7, &mut [0; 3]).unwrap();
    assert!(!chip.borrow().calls.iter().any(|call| matches!(call, Call::Read(.., false))));
    chip.borrow_mut().present = false;
    assert!(matches!(eeprom.region(page).write(0, &[1, 2]), Err(Error::NotAnswering { .. })));
    assert!(matches!(eeprom.read(7, &mut [0]), Err(Error::NotAnswering { .. })), "no write is on its way");
}

#[test]
fn regions_that_contradict_themselves_do_not_exist() {
    let refused = |change: fn(&mut RegionParameters)| {
        let mut parameters = PAGE;
        change(&mut parameters);
        Region::try_new(parameters).unwrap_err()
    };
    assert_eq!(refused(|p| p.length_bytes = 0), GeometryError::CapacityZero);
    assert!(matches!(refused(|p| p.page_bytes = 24), GeometryError::Page { .. }));
    assert!(matches!(refused(|p| p.word_address_bytes = 1), GeometryError::CapacityUnreachable { .. }));
    let unreachable = GeometryError::CapacityUnreachable { capacity_bytes: u32::MAX, reach_bytes: 0x100_0000 };
    assert_eq!(refused(|p| p.word_address = u32::MAX), unreachable);
    assert_eq!(refused(|p| p.device_address = 0xB0), GeometryError::DeviceAddress { found: 0xB0 });
    let shape = GeometryError::ZeroByteShape { capacity_bytes: 4096, device_address: 0x58, block_select_bits: 0 };
    assert_eq!(refused(|p| p.word_address_bytes = 0), shape);
    let far = |p: &mut RegionParameters| {
        p.access = RegionAccess::Lockable(Lock::new(0x58, 0x1_0000, 2));
    };
    assert!(matches!(refused(far), GeometryError::CapacityUnreachable { .. }));
}

#[test]
fn a_region_may_be_shorter_than_its_page() {
    let serial = PAGE.with_word_address(0).with_length_bytes(6).with_access(RegionAccess::ReadOnly);
    let region = Region::try_new(serial).unwrap();
    assert_eq!((region.length_bytes(), region.parameters()), (6, serial));
    let (chip, bus, clock) = rig(KBIT_32.parameters().with_device_address(0x58));
    let mut eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let mut back = [0; 6];
    eeprom.region(region).read(0, &mut back).unwrap();
    assert_eq!(back, chip.borrow().memory[..6]);
}

#[test]
fn regions_wait_for_a_lazy_write_of_the_array_first() {
    let (array, _, _) = rig(KBIT_32.parameters());
    let (page, _, _) = rig(KBIT_32.parameters().with_device_address(0x58));
    let parts = vec![array.clone(), page];
    let options = Options::new().with_lazy(true);
    let mut eeprom = Eeprom::<_, _, 34>::new(Bus(parts.clone()), Clock(parts), KBIT_32, options);
    eeprom.write(0, &[1]).unwrap();
    eeprom.region(Region::try_new(PAGE).unwrap()).read(0, &mut [0]).unwrap();
    let array = array.borrow();
    assert!(array.now_us >= array.busy_until_us);
}

//! Several chips as one address space.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use pagewise_driver::*;

use crate::common::*;

fn chips(addresses: [u8; 3]) -> (Vec<Rc<RefCell<FakeChip>>>, Bus, Clock) {
    let parts: Vec<_> =
        addresses.iter().map(|address| rig(KBIT_1.parameters().with_device_address(*address)).0).collect();
    (parts.clone(), Bus(parts.clone()), Clock(parts))
}

#[test]
fn several_chips_are_one_address_space_for_all_offsets_and_lengths() {
    let (parts, bus, clock) = chips([0x53, 0x50, 0x56]);
    let eeprom = Eeprom::<_, _, 9>::new(bus, clock, KBIT_1, Options::new());
    let mut space = Chips::new(eeprom, [0x53, 0x50, 0x56]).unwrap();
    assert_eq!(space.capacity(), 384);
    for (round, offset) in (0..384u32).step_by(7).enumerate() {
        for length in [0usize, 1, 8, 127, 129, 300] {
            let length = length.min(384 - offset as usize);
            let bytes: Vec<u8> = (0..length).map(|i| (i * 31 + round * 7) as u8).collect();
            space.write(offset, &bytes).unwrap();
            let memory: Vec<u8> = parts.iter().flat_map(|part| part.borrow().memory.clone()).collect();
            assert_eq!(memory[offset as usize..][..length], bytes);
            let mut back = vec![0; length];
            space.read(offset, &mut back).unwrap();
            assert_eq!(back, bytes);
            assert_eq!(space.compare(offset, &bytes), Ok(None));
        }
    }
    assert_eq!(space.read(383, &mut [0; 2]), Err(Error::OutOfRange { offset: 383, length: 2, capacity: 384 }));
}

#[test]
fn several_chips_count_safe_bytes_and_offsets_over_all() {
    let (parts, bus, clock) = chips([0x50, 0x51, 0x52]);
    let eeprom = Eeprom::<_, _, 9>::new(bus, clock, KBIT_1, Options::new());
    let mut space = Chips::new(eeprom, [0x50, 0x51, 0x52]).unwrap();
    parts[1].borrow_mut().protect = Protect::NackData;
    let source = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
    let error = Error::WriteProtected { offset: 128, safe_bytes: 8, source };
    assert_eq!(space.write(120, &[0; 20]), Err(error));
    parts[1].borrow_mut().protect = Protect::Off;
    let mut bytes: Vec<u8> = parts.iter().flat_map(|part| part.borrow().memory.clone()).collect();
    bytes[200] ^= 1;
    let found = bytes[200] ^ 1;
    assert_eq!(space.compare(0, &bytes), Ok(Some(Difference { index: 200, expected: bytes[200], found })));
    assert_eq!(space.update_trusting(0, &bytes), Ok(Updated { written: 1, kept: 47 }));
    space.fill(100, 100, 0x3C).unwrap();
    space.write_verified(126, &[1, 2, 3, 4]).unwrap();
    assert_eq!(parts[1].borrow().memory[..3], [3, 4, 0x3C]);
}

#[test]
fn several_chips_in_lazy_mode_are_each_waited_for_at_their_own_address() {
    let (parts, bus, clock) = chips([0x50, 0x51, 0x52]);
    let eeprom = Eeprom::<_, _, 9>::new(bus, clock, KBIT_1, Options::new().with_lazy(true));
    let mut space = Chips::new(eeprom, [0x50, 0x51, 0x52]).unwrap();
    space.write(0, &[1]).unwrap();
    space.write(128, &[2]).unwrap();
    space.read(0, &mut [0]).unwrap();
    space.read(128, &mut [0]).unwrap();
    for part in &parts[..2] {
        let refused = part.borrow().calls.iter().filter(|call| matches!(call, Call::Read(.., false))).count();
        assert_eq!(refused, 0, "each chip was polled before it was read");
    }
}

#[test]
fn several_chips_in_lazy_mode_are_all_ready_after_waiting() {
    let (parts, bus, clock) = chips([0x50, 0x51, 0x52]);
    let eeprom = Eeprom::<_, _, 9>::new(bus, clock, KBIT_1, Options::new().with_lazy(true));
    let mut space = Chips::new(eeprom, [0x50, 0x51, 0x52]).unwrap();
    space.fill(120, 200, 0x11).unwrap();
    assert!(parts.iter().any(|part| part.borrow().now_us < part.borrow().busy_until_us));
    space.wait_ready().unwrap();
    assert!(parts.iter().all(|part| part.borrow().now_us >= part.borrow().busy_until_us));
    parts[1].borrow_mut().present = false;
    assert!(matches!(space.wait_ready(), Err(Error::NotAnswering { safe_bytes: 0, .. })));
}

#[test]
fn several_chips_with_impossible_addresses_are_refused() {
    let make = |addresses| {
        let (_, bus, clock) = rig(KBIT_16.parameters());
        Chips::<_, 2>::new(Eeprom::<_, _, 17>::new(bus, clock, KBIT_16, Options::new()), addresses).err()
    };
    assert_eq!(make([0x58, 0x58]), Some(ChipsError::SameAddress { first: 0, second: 1, device_address: 0x58 }));
    let error = GeometryError::DeviceAddress { found: 0xD0 };
    assert_eq!(make([0x50, 0xD0]), Some(ChipsError::Address { index: 1, error }));
    let error = GeometryError::BlockSelectCollision { device_address: 0x51, mask: 7 };
    assert_eq!(make([0x51, 0x51]), Some(ChipsError::Address { index: 0, error }));
    assert_eq!(make([0x50, 0x58]), None);
    let (_, bus, clock) = rig(KBIT_16.parameters());
    let none = Chips::<_, 0>::new(Eeprom::<_, _, 17>::new(bus, clock, KBIT_16, Options::new()), []).err();
    assert_eq!(none, Some(ChipsError::Empty));
}

//! The blocking driver on a small chip that behaves: memory, bounds of waiting, errors with their safe bytes.

use std::cell::RefCell;
use std::rc::Rc;

use crate::common::*;
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use pagewise_driver::{Difference, Eeprom, Error, Geometry, Options, Trust, Updated, Wait};
use proptest::prelude::*;

const ALL: [Geometry; 7] = [KBIT_1, KBIT_16, KBIT_32, KBIT_1024_TOP, KBIT_2048, ZERO_BYTE, FRAM];

#[test]
fn an_absent_part_is_not_answering_within_the_bound() {
    for interval in [0, 50, 1000] {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        chip.borrow_mut().present = false;
        let options = Options::new().with_poll_interval_us(interval);
        let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, options);
        let source = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        assert_eq!(driver.write(0, &[1]), Err(Error::NotAnswering { source, safe_bytes: 0 }));
        {
            // The next call does not take the failed one for a write in its cycle.
            let calls = chip.borrow().calls.len();
            assert_eq!(driver.read(0, &mut [0]), Err(Error::NotAnswering { source, safe_bytes: 0 }));
            chip.borrow_mut().calls.truncate(calls);
        }
        let chip = chip.borrow();
        // 5 ms and 25 % margin; one access, then one poll more than pauses.
        let step = if interval == 0 { 10 } else { interval as usize };
        assert_eq!(chip.calls.len(), 1 + 6250usize.div_ceil(step) + 1);
    }
}

#[test]
fn a_write_cycle_that_never_ends_is_an_overrun_that_counts_its_polls() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().cycle_us = u64::MAX / 2;
    let options = Options::new().with_margin_percent(0).with_poll_interval_us(100);
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, options);
    let error = Error::WriteCycleOverrun { polls: 51, waited_us: 5000, safe_bytes: 0 };
    assert_eq!(driver.write(0x10, &[7; 40]), Err(error));
    // The next call knows of the write that went before.
    let error = Error::WriteCycleOverrun { polls: 51, waited_us: 5000, safe_bytes: 0 };
    assert_eq!(driver.read(0, &mut [0]), Err(error));
}

#[test]
fn a_write_cycle_just_as_long_as_stated_is_waited_for() {
    for interval in [0, 1, 50, 333, 5000, 9999] {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let options = Options::new().with_margin_percent(0).with_poll_interval_us(interval);
        let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, options);
        driver.write(0, &[0x11; 100]).unwrap();
        assert!(chip.borrow().memory[..100].iter().all(|b| *b == 0x11));
    }
}

#[test]
fn a_part_inside_a_write_cycle_from_before_a_reset_is_waited_for() {
    for write in [false, true] {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        chip.borrow_mut().busy_until_us = 4_900;
        let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
        if write { driver.write(3, &[1]) } else { driver.read(3, &mut [0]) }.unwrap();
    }
}

#[test]
fn a_fixed_wait_repeats_a_refused_access_once_after_a_whole_cycle() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().busy_until_us = 4_900;
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new().with_wait(Wait::Fixed));
    driver.read(3, &mut [0]).unwrap();
    assert_eq!(chip.borrow().calls.len(), 2);
    chip.borrow_mut().present = false;
    let source = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
    assert_eq!(driver.read(3, &mut [0]), Err(Error::NotAnswering { source, safe_bytes: 0 }));
    assert_eq!(chip.borrow().calls.len(), 4);
}

#[test]
fn a_protected_part_that_refuses_data_is_named_whatever_the_kind_of_nack() {
    for kind in [NoAcknowledgeSource::Address, NoAcknowledgeSource::Data, NoAcknowledgeSource::Unknown] {
        let (chip, bus, clock) = rig(KBIT_16.parameters());
        chip.borrow_mut().protect = Protect::NackData;
        chip.borrow_mut().nack = ErrorKind::NoAcknowledge(kind);
        let mut driver = Eeprom::<_, _, 17>::new(bus, clock, KBIT_16, Options::new());
        let error = driver.write(0x120, &[1, 2]).unwrap_err();
        let source = ErrorKind::NoAcknowledge(kind);
        assert_eq!(error, Error::WriteProtected { offset: 0x120, safe_bytes: 0, source });
    }
}

#[test]
fn a_protected_part_that_drops_data_is_found_by_verification() {
    let (chip, bus, clock) = rig(KBIT_16.parameters());
    chip.borrow_mut().protect = Protect::AckAndDrop;
    let found = chip.borrow().memory[0x121];
    let same = chip.borrow().memory[0x120];
    let mut driver = Eeprom::<_, _, 17>::new(bus, clock, KBIT_16, Options::new());
    driver.write(0x120, &[same, !found]).unwrap();
    let error = Error::Verify { offset: 0x121, expected: !found, found, safe_bytes: 0 };
    assert_eq!(driver.write_verified(0x120, &[same, !found]), Err(error));
}

#[test]
fn a_bus_error_says_how_many_bytes_are_safe_wherever_it_strikes() {
    // Four pages and one poll (the part is never busy here). A page is known to be stored when the call after its write
    // was answered; what the failing call itself has sent is as unknown as ever.
    for call in 0..5 {
        for kind in [ErrorKind::Bus, ErrorKind::Other, ErrorKind::ArbitrationLoss] {
            let (chip, bus, clock) = rig(KBIT_32.parameters());
            chip.borrow_mut().cycle_us = 0;
            chip.borrow_mut().fail_call = Some((call, kind));
            let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
            let safe_bytes = 32 * usize::saturating_sub(call, 1);
            let error = driver.write(0, &[0x77; 128]).unwrap_err();
            assert_eq!(error, Error::Bus { source: kind, safe_bytes });
            assert_eq!(error.safe_bytes(), safe_bytes);
            assert!(chip.borrow().memory[..safe_bytes].iter().all(|b| *b == 0x77));
        }
    }
}

#[test]
fn a_call_after_a_failed_write_first_waits_for_the_part() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().fail_call = Some((1, ErrorKind::Bus));
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    driver.write(0, &[1]).unwrap_err();
    driver.read(0, &mut [0]).unwrap();
    let calls = &chip.borrow().calls;
    assert!(calls.iter().skip(1).any(|c| *c == Call::Write(0x50, vec![0, 0], false)));
    assert_eq!(calls.last(), Some(&Call::Read(0x50, vec![0, 0], 1, true)));
}

#[test]
fn update_writes_only_pages_that_differ() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut wanted = chip.borrow().memory[16..176].to_vec();
    wanted[20] ^= 1;
    wanted[159] ^= 1;
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    assert_eq!(driver.update_trusting(16, &wanted), Ok(Updated { written: 2, kept: 4 }));
    assert_eq!(chip.borrow().page_writes, 2);
    assert_eq!(chip.borrow().memory[16..176], wanted);
    assert_eq!(driver.update_trusting(16, &wanted), Ok(Updated { written: 0, kept: 6 }));
    assert_eq!(chip.borrow().page_writes, 2);
}

#[test]
fn a_driver_knows_its_part() {
    for geometry in ALL {
        let (chip, bus, clock) = rig(geometry.parameters());
        let driver = Eeprom::<_, _, 9>::new(bus, clock, geometry, Options::new());
        assert_eq!(driver.capacity() as usize, chip.borrow().memory.len());
        assert_eq!(driver.geometry(), &geometry);
    }
}

#[test]
fn compare_ends_at_the_first_difference() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut wanted = chip.borrow().memory[5..105].to_vec();
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    assert_eq!(driver.compare(5, &wanted), Ok(None));
    let found = wanted[70];
    wanted[70] ^= 0x80;
    wanted[71] ^= 0x80;
    assert_eq!(driver.compare(5, &wanted), Ok(Some(Difference { index: 70, expected: found ^ 0x80, found })));
}

#[test]
fn a_buffer_smaller_than_a_page_splits_it_and_loses_nothing() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut driver = Eeprom::<_, _, 33>::new(bus, clock, KBIT_32, Options::new());
    assert_eq!(driver.write(0, &[1]), Err(Error::BufferTooSmall { needed: 34 }), "only where that is wanted");
    assert_eq!(driver.compare(0, &[1]), Err(Error::BufferTooSmall { needed: 34 }));
    driver.read(0, &mut [0]).unwrap();
    let (bus, clock) = driver.release();
    let mut driver = Eeprom::<_, _, 12>::new(bus, clock, KBIT_32, Options::new().with_split_pages(true));
    let data: Vec<u8> = (0..100).collect();
    driver.write_verified(30, &data).unwrap();
    assert_eq!(chip.borrow().memory[30..130], data);
    let (_, bus, clock) = rig(KBIT_32.parameters());
    let mut driver = Eeprom::<_, _, 2>::new(bus, clock, KBIT_32, Options::new().with_split_pages(true));
    assert_eq!(driver.write(0, &[1]), Err(Error::BufferTooSmall { needed: 34 }));
}

#[derive(Debug, Clone)]
enum Operation {
    Write(u32, Vec<u8>),
    Verified(u32, Vec<u8>),
    Update(u32, Vec<u8>),
    Fill(u32, usize, u8),
    Read(u32, usize),
    Compare(u32, usize),
    Ready,
}

fn operation() -> impl Strategy<Value = Operation> {
    let offset = any::<u32>();
    let bytes = || proptest::collection::vec(any::<u8>(), 0..300);
    prop_oneof![
        (offset, bytes()).prop_map(|(o, b)| Operation::Write(o, b)),
        (offset, bytes()).prop_map(|(o, b)| Operation::Verified(o, b)),
        (offset, bytes()).prop_map(|(o, b)| Operation::Update(o, b)),
        (offset, 0..300usize, any::<u8>()).prop_map(|(o, n, b)| Operation::Fill(o, n, b)),
        (offset, 0..600usize).prop_map(|(o, n)| Operation::Read(o, n)),
        (offset, 0..600usize).prop_map(|(o, n)| Operation::Compare(o, n)),
        Just(Operation::Ready),
    ]
}

/// Brings a drawn offset and length inside the part.
fn fit(offset: u32, length: usize, capacity: u32) -> (u32, usize) {
    let offset = offset % capacity;
    (offset, length.min((capacity - offset) as usize))
}

fn refused_reads(chip: &Rc<RefCell<FakeChip>>) -> usize {
    chip.borrow().calls.iter().filter(|call| matches!(call, Call::Read(.., false))).count()
}

/// The same cases in every run.
fn config() -> ProptestConfig {
    let rng_seed = proptest::test_runner::RngSeed::Fixed(0x24C0);
    ProptestConfig { cases: 150, failure_persistence: None, rng_seed, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn any_sequence_of_operations_leaves_what_a_plain_array_would_hold(
        index in 0..ALL.len(),
        operations in proptest::collection::vec(operation(), 1..12),
        limit in prop_oneof![Just(usize::MAX), 8..64usize, Just(255)],
        lazy in any::<bool>(),
        fixed in any::<bool>(),
    ) {
        let geometry = ALL[index];
        let capacity = geometry.capacity_bytes();
        let (chip, bus, clock) = rig(geometry.parameters());
        let wait = if fixed { Wait::Fixed } else { Wait::Poll };
        let options = Options::new().with_max_transfer_bytes(limit).with_lazy(lazy).with_wait(wait).with_split_pages(true);
        let mut driver = Eeprom::<_, _, 200>::new(bus, clock, geometry, options);
        let mut model = chip.borrow().memory.clone();
        let mut trust = Trust::new();
        // Where there is no header, the poll itself is a read.
        let polls_read = geometry.word_address_bytes() == 0;
        for operation in operations {
            match operation {
                Operation::Write(offset, bytes) => {
                    let (offset, length) = fit(offset, bytes.len(), capacity);
                    driver.write(offset, &bytes[..length]).unwrap();
                    model[offset as usize..][..length].copy_from_slice(&bytes[..length]);
                }
                Operation::Verified(offset, bytes) => {
                    let (offset, length) = fit(offset, bytes.len(), capacity);
                    driver.write_verified(offset, &bytes[..length]).unwrap();
                    model[offset as usize..][..length].copy_from_slice(&bytes[..length]);
                }
                Operation::Update(offset, bytes) => {
                    let (offset, length) = fit(offset, bytes.len(), capacity);
                    driver.update(offset, &bytes[..length], &mut trust).unwrap();
                    model[offset as usize..][..length].copy_from_slice(&bytes[..length]);
                }
                Operation::Fill(offset, length, byte) => {
                    let (offset, length) = fit(offset, length, capacity);
                    driver.fill(offset, length, byte).unwrap();
                    model[offset as usize..][..length].fill(byte);
                }
                Operation::Read(offset, length) => {
                    let (offset, length) = fit(offset, length, capacity);
                    let mut back = vec![0; length];
                    let before = refused_reads(&chip);
                    driver.read(offset, &mut back).unwrap();
                    prop_assert_eq!(&back, &model[offset as usize..][..length]);
                    prop_assert!(refused_reads(&chip) == before || polls_read, "a read met a busy part");
                }
                Operation::Compare(offset, length) => {
                    let (offset, length) = fit(offset, length, capacity);
                    let before = refused_reads(&chip);
                    prop_assert_eq!(driver.compare(offset, &model[offset as usize..][..length]), Ok(None));
                    prop_assert!(refused_reads(&chip) == before || polls_read, "a comparison met a busy part");
                }
                Operation::Ready => driver.wait_ready().unwrap(),
            }
            prop_assert_eq!(&chip.borrow().memory, &model);
        }
        prop_assert!(chip.borrow().longest <= limit);
    }
}

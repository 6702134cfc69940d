//! Small places where a mistake would pass every larger test: each has been tried.

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::delay::NoopDelay;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use pagewise_driver::{
    Candidate, Eeprom, Error, Geometry, LongerHeader, Memory, Options, Protected, WriteProtectTiming, choose,
};

use crate::common::*;

const NACK: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

#[test]
fn a_read_that_is_refused_after_an_answered_poll_is_a_bus_error() {
    let mut i2c = Mock::new(&[
        Transaction::write_read(0x50, vec![0, 9], vec![0]).with_error(NACK),
        Transaction::write(0x50, vec![0, 9]),
        Transaction::write_read(0x50, vec![0, 9], vec![0]).with_error(NACK),
    ]);
    let mut driver = Eeprom::<_, _, 34>::new(i2c.clone(), NoopDelay, KBIT_32, Options::new());
    assert_eq!(driver.read(9, &mut [0]), Err(Error::Bus { source: NACK, safe_bytes: 0 }));
    i2c.done();
}

/// Pages of 32 bytes, of which one read gives 16.
const SHORT_READS: Geometry = Geometry::new(part(4096, 32, 2, 0).with_sequential_read_bytes(16));

#[test]
fn bytes_that_are_written_and_read_back_are_cut_at_the_read_block_too() {
    let bytes: Vec<u8> = (0..20).collect();
    let (start, end) = bytes.split_at(8);
    let mut i2c = Mock::new(&[
        Transaction::write(0x50, [&[0, 8], start].concat()),
        Transaction::write_read(0x50, vec![0, 8], start.to_vec()),
        Transaction::write(0x50, [&[0, 16], end].concat()),
        Transaction::write_read(0x50, vec![0, 16], end.to_vec()),
        Transaction::write_read(0x50, vec![0, 8], start.to_vec()),
        Transaction::write_read(0x50, vec![0, 16], end.to_vec()),
    ]);
    let mut driver = Eeprom::<_, _, 34>::new(i2c.clone(), NoopDelay, SHORT_READS, Options::new());
    driver.write_verified(8, &bytes).unwrap();
    assert_eq!(driver.compare(8, &bytes), Ok(None));
    i2c.done();
}

#[test]
fn surplus_bits_of_an_offset_do_not_reach_the_device_address() {
    for (geometry, address) in [(KBIT_16, 0x57), (KBIT_1024_TOP, 0x54)] {
        let place = geometry.locate(0x00FF_FFA7);
        assert_eq!(place.device_address, address, "{geometry:?}");
        assert_eq!(place.header.as_bytes().last(), Some(&0xA7));
    }
    assert_eq!(KBIT_32.locate(0x00FF_FFA7).device_address, 0x50);
}

#[test]
fn a_part_with_three_word_address_bytes_is_chosen() {
    let candidates = [KBIT_32, KBIT_2048].map(|geometry| Candidate::new(geometry, 0x20, 2));
    let record = vec![0x5E, 0x77];
    let mut i2c = Mock::new(&[
        Transaction::write_read(0x50, vec![0, 0x20], vec![0xFF, 0xFF]),
        Transaction::write_read(0x50, vec![0, 0, 0x20], record.clone()),
        Transaction::write_read(0x50, vec![0, 0, 0x21], vec![0x77]),
        Transaction::write_read(0x50, vec![0, 0, 0x20], vec![0x5E]),
    ]);
    let chosen = choose(
        &mut i2c,
        &mut NoopDelay,
        &candidates,
        &mut [0; 2],
        &Options::new(),
        LongerHeader::AfterShorter,
        |_, found| found == record,
    );
    assert_eq!(chosen, Ok(1));
    i2c.done();
}

/// Notes when it is driven.
struct Stopwatch(std::rc::Rc<std::cell::RefCell<FakeChip>>, std::rc::Rc<std::cell::RefCell<Vec<(bool, u64)>>>);

impl embedded_hal::digital::ErrorType for Stopwatch {
    type Error = std::convert::Infallible;
}

impl embedded_hal::digital::OutputPin for Stopwatch {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        self.1.borrow_mut().push((false, self.0.borrow().now_us));
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        self.1.borrow_mut().push((true, self.0.borrow().now_us));
        Ok(())
    }
}

const TIMING: WriteProtectTiming = WriteProtectTiming::new().with_setup_us(300).with_hold_us(4_000);
/// The times above, and two bus calls of 20 us each: the write, and the poll that is answered at once.
const LOW_US: u64 = 300 + 4_000 + 2 * 20;

#[test]
fn the_wp_pin_is_low_for_set_up_and_hold_time_and_no_longer() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().cycle_us = 0;
    let log = std::rc::Rc::default();
    let eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let mut guarded = Protected::new::<ErrorKind>(eeprom, Stopwatch(chip, std::rc::Rc::clone(&log)), TIMING).unwrap();
    guarded.write(0, &[1]).unwrap();
    assert_eq!(*log.borrow(), [(true, 0), (false, 0), (true, LOW_US)]);
}

#[cfg(feature = "async")]
#[test]
fn the_wp_pin_is_low_as_long_in_async_code() {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::{AsyncEeprom, AsyncMemory};
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().cycle_us = 0;
    let log = std::rc::Rc::default();
    let eeprom = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
    let mut guarded = Protected::new::<ErrorKind>(eeprom, Stopwatch(chip, std::rc::Rc::clone(&log)), TIMING).unwrap();
    now(AsyncMemory::write(&mut guarded, 0, &[1])).unwrap();
    assert_eq!(*log.borrow(), [(true, 0), (false, 0), (true, LOW_US)]);
}

#[cfg(feature = "async")]
mod regions {
    use super::*;
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::{AsyncEeprom, AsyncMemory, Extent, Region, RegionAccess, RegionParameters, Trust};

    const PAGE: RegionParameters = crate::regions::PAGE.with_access(RegionAccess::Writable);

    type Part = (std::rc::Rc<std::cell::RefCell<FakeChip>>, AsyncEeprom<AsyncBus, AsyncClock, 34>, Region);

    /// A part that is met at 0x50 and, as its identification page, at 0x58.
    fn with_page(lazy: bool) -> Part {
        let (chip, bus, clock) = rig(KBIT_32.parameters().with_block_select_bits(1).with_block_select_shift(3));
        let options = Options::new().with_lazy(lazy);
        let eeprom = AsyncEeprom::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, options);
        (chip, eeprom, Region::try_new(PAGE).unwrap())
    }

    fn refused_reads(chip: &FakeChip) -> usize {
        chip.calls.iter().filter(|call| matches!(call, Call::Read(.., false))).count()
    }

    #[test]
    fn a_region_and_its_array_wait_for_each_others_lazy_writes_in_async_code() {
        let (chip, mut eeprom, page) = with_page(true);
        now(eeprom.write(0, &[1])).unwrap();
        assert!(chip.borrow().now_us < chip.borrow().busy_until_us);
        now(eeprom.region(page).read(0, &mut [0])).unwrap();
        assert_eq!(refused_reads(&chip.borrow()), 0, "the array's write was waited for first");
        now(eeprom.region(page).write(0, &[1])).unwrap();
        now(eeprom.read(0, &mut [0])).unwrap();
        assert_eq!(refused_reads(&chip.borrow()), 0, "the region's write was waited for first");
    }

    #[test]
    fn what_became_of_a_regions_write_is_known_to_the_array_in_async_code() {
        let (chip, mut eeprom, page) = with_page(false);
        now(eeprom.region(page).write(0, &[1])).unwrap();
        let calls = chip.borrow().calls.len();
        now(eeprom.read(0, &mut [0])).unwrap();
        assert_eq!(chip.borrow().calls.len(), calls + 1, "a write that has ended is not waited for");
        chip.borrow_mut().present = false;
        let failures = Extent::failures(&eeprom);
        now(eeprom.region(page).write(0, &[2])).unwrap_err();
        assert_eq!(Extent::failures(&eeprom), failures + 1);
    }

    #[test]
    fn a_region_of_a_part_without_write_cycles_has_nothing_that_could_be_cut() {
        let geometry = pagewise_driver::Geometry::new(KBIT_32.parameters().with_write_cycle_us(0));
        for (geometry, written) in [(geometry, 0), (KBIT_32, 1)] {
            let (chip, bus, clock) = rig(geometry.parameters().with_block_select_bits(1).with_block_select_shift(3));
            chip.borrow_mut().cycle_us = geometry.write_cycle_us().into();
            let mut eeprom = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), geometry, Options::new());
            let mut region = eeprom.region(Region::try_new(PAGE).unwrap());
            let mut same = [0; 8];
            now(region.read(0, &mut same)).unwrap();
            let done = now(region.update(0, &same, &mut Trust::new())).unwrap();
            assert_eq!((done.written, done.kept), (written, 1 - written));
        }
    }
}

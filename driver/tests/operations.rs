//! What stands around the driver: write-protect pin, several chips, regions, common geometry, choice at run time, bus
//! recovery.

mod common;

use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

use common::*;
use embedded_hal::digital::{ErrorType as PinErrorType, InputPin, OutputPin};
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use pagewise_driver::*;

// ---- write-protect pin ----

/// A pin that protects the fake chip while it is high, and that can fail.
struct Wp {
    chip: Rc<RefCell<FakeChip>>,
    log: Rc<RefCell<Vec<(bool, u64)>>>,
    fails_at: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct PinFault;

impl embedded_hal::digital::Error for PinFault {
    fn kind(&self) -> embedded_hal::digital::ErrorKind {
        embedded_hal::digital::ErrorKind::Other
    }
}

impl PinErrorType for Wp {
    type Error = PinFault;
}

impl Wp {
    fn drive(&mut self, high: bool) -> Result<(), PinFault> {
        let now = self.chip.borrow().now_us;
        let number = self.log.borrow().len();
        self.log.borrow_mut().push((high, now));
        if self.fails_at == Some(number) {
            return Err(PinFault);
        }
        self.chip.borrow_mut().protect = if high { Protect::NackData } else { Protect::Off };
        Ok(())
    }
}

impl OutputPin for Wp {
    fn set_low(&mut self) -> Result<(), PinFault> {
        self.drive(false)
    }

    fn set_high(&mut self) -> Result<(), PinFault> {
        self.drive(true)
    }
}

type Log = Rc<RefCell<Vec<(bool, u64)>>>;
type Guarded = Protected<Eeprom<Bus, Clock, 34>, Wp>;

fn guarded(fails_at: Option<usize>) -> (Rc<RefCell<FakeChip>>, Log, Result<Guarded, Error<ErrorKind>>) {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let log = Log::default();
    let pin = Wp { chip: chip.clone(), log: log.clone(), fails_at };
    let eeprom = Eeprom::new(bus, clock, KBIT_32, Options::new());
    let timing = WriteProtectTiming { setup_us: 3, hold_us: 4 };
    (chip, log, Protected::new(eeprom, pin, timing))
}

fn levels(log: &Log) -> Vec<bool> {
    log.borrow().iter().map(|(high, _)| *high).collect()
}

#[test]
fn wp_is_released_only_around_a_write_with_setup_and_hold() {
    let (chip, log, protected) = guarded(None);
    let mut protected = protected.unwrap();
    protected.write(0, &[1]).unwrap();
    protected.write_verified(1, &[2]).unwrap();
    protected.fill(2, 1, 3).unwrap();
    assert_eq!(protected.update(3, &[4], &mut Trust::new()), Ok(Updated { written: 1, kept: 0 }));
    assert_eq!(levels(&log), [true, false, true, false, true, false, true, false, true]);
    assert_eq!(chip.borrow().memory[..4], [1, 2, 3, 4]);
    let mut back = [0; 4];
    protected.read(0, &mut back).unwrap();
    assert_eq!(back, [1, 2, 3, 4]);
    assert_eq!(protected.compare(0, &[1, 2, 3, 4]), Ok(None));
    let difference = Difference { index: 2, expected: 9, found: 3 };
    assert_eq!(protected.compare(0, &[1, 2, 9, 4]), Ok(Some(difference)));
    assert_eq!(levels(&log).len(), 9, "reading does not touch the pin");
    // Write and answered poll take 20 us each here; the last poll comes when the write cycle is over.
    let log = log.borrow();
    let (released, asserted) = (log[1].1, log[2].1);
    assert!(asserted - released >= 3 + 20 + 5_000 + 4);
    assert!(matches!(protected.eeprom().write(0, &[9]), Err(Error::WriteProtected { .. })), "the pin protects");
}

#[test]
fn wp_is_asserted_again_when_the_write_fails() {
    let (chip, log, protected) = guarded(None);
    let mut protected = protected.unwrap();
    chip.borrow_mut().fail_call = Some((0, ErrorKind::Bus));
    assert_eq!(protected.write(0, &[1]), Err(Error::Bus { source: ErrorKind::Bus, safe_bytes: 0 }));
    assert!(matches!(protected.write(4096, &[1]), Err(Error::OutOfRange { .. })));
    assert_eq!(levels(&log), [true, false, true, false, true]);
}

#[test]
fn wp_pin_faults_are_reported_and_the_pin_is_driven_high_as_far_as_it_goes() {
    let (_, log, protected) = guarded(Some(0));
    assert_eq!(protected.err(), Some(Error::WriteProtectPin { safe_bytes: 0 }));
    assert_eq!(levels(&log), [true]);
    let (_, log, protected) = guarded(Some(1));
    assert_eq!(protected.unwrap().write(0, &[1]), Err(Error::WriteProtectPin { safe_bytes: 0 }));
    assert_eq!(levels(&log), [true, false, true]);
    let (chip, log, protected) = guarded(Some(2));
    assert_eq!(protected.unwrap().write(0, &[1, 2]), Err(Error::WriteProtectPin { safe_bytes: 2 }));
    assert_eq!(levels(&log), [true, false, true, true]);
    assert_eq!(chip.borrow().memory[..2], [1, 2]);
}

// ---- several chips ----

fn chips(addresses: [u8; 3]) -> (Vec<Rc<RefCell<FakeChip>>>, Bus, Clock) {
    let parts: Vec<_> =
        addresses.iter().map(|address| rig(Parameters { device_address: *address, ..KBIT_1.parameters() }).0).collect();
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

// ---- regions ----

const PAGE: RegionParameters = RegionParameters {
    device_address: 0x58,
    word_address_bytes: 2,
    word_address: 0x0800,
    length_bytes: 32,
    page_bytes: 32,
    access: RegionAccess::Lockable(Lock { device_address: 0x58, word_address: 0x0C00, data: 2 }),
};

#[test]
fn regions_are_read_written_and_locked_at_their_own_address() {
    let (array, _, _) = rig(KBIT_32.parameters());
    let (page, _, _) = rig(Parameters { device_address: 0x58, ..KBIT_32.parameters() });
    let parts = vec![array.clone(), page.clone()];
    let mut eeprom = Eeprom::<_, _, 34>::new(Bus(parts.clone()), Clock(parts), KBIT_32, Options::new());
    let region = Region::try_new(PAGE).unwrap();
    eeprom.write_region(&region, 3, &[1, 2, 3]).unwrap();
    assert_eq!(page.borrow().memory[0x803..0x806], [1, 2, 3]);
    let mut back = [0; 32];
    eeprom.read_region(&region, 0, &mut back).unwrap();
    assert_eq!(back, page.borrow().memory[0x800..0x820]);
    eeprom.lock_region(&region, Irreversible::i_know_that_this_cannot_be_undone()).unwrap();
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
    let serial = Region::try_new(RegionParameters { access: RegionAccess::ReadOnly, ..PAGE }).unwrap();
    assert_eq!(eeprom.write_region(&serial, 0, &[1]), Err(Error::Unsupported));
    let token = Irreversible::i_know_that_this_cannot_be_undone();
    assert_eq!(eeprom.lock_region(&serial, token), Err(Error::Unsupported));
    let error = Error::OutOfRange { offset: 30, length: 3, capacity: 32 };
    assert_eq!(eeprom.read_region(&serial, 30, &mut [0; 3]), Err(error));
    assert_eq!(eeprom.read_region(&serial, 32, &mut []), Ok(()));
    let short = Region::try_new(RegionParameters {
        word_address_bytes: 1,
        word_address: 0,
        access: RegionAccess::Lockable(Lock { device_address: 0x58, word_address: 0x80, data: 2 }),
        ..PAGE
    });
    let short = short.unwrap();
    assert_eq!(eeprom.read_region(&short, 0, &mut [0]), Err(Error::Unsupported));
    assert_eq!(eeprom.write_region(&short, 0, &[1]), Err(Error::Unsupported));
    let token = Irreversible::i_know_that_this_cannot_be_undone();
    assert_eq!(eeprom.lock_region(&short, token), Err(Error::Unsupported));
    assert_eq!(chip.borrow().calls, []);
}

/// A part that is met at 0x50 and, as its identification page, at 0x58.
fn with_page(options: Options) -> (Rc<RefCell<FakeChip>>, Eeprom<Bus, Clock, 34>, Region) {
    let two_addresses = Parameters { block_select_bits: 1, block_select_shift: 3, ..KBIT_32.parameters() };
    let (chip, bus, clock) = rig(two_addresses);
    (chip, Eeprom::new(bus, clock, KBIT_32, options), Region::try_new(PAGE).unwrap())
}

#[test]
fn regions_are_waited_for_as_long_as_the_array_and_by_the_next_call_if_lazy() {
    for wait in [Wait::Poll, Wait::Fixed] {
        for lazy in [false, true] {
            let (chip, mut eeprom, page) = with_page(Options::new().with_wait(wait).with_lazy(lazy));
            eeprom.write_region(&page, 0, &[1, 2]).unwrap();
            assert_eq!(chip.borrow().now_us < chip.borrow().busy_until_us, lazy);
            // An error that no wait repairs, so that only waiting first helps.
            chip.borrow_mut().nack = if wait == Wait::Fixed { ErrorKind::Bus } else { chip.borrow().nack };
            let calls = chip.borrow().calls.len();
            eeprom.read(7, &mut []).unwrap();
            eeprom.read_region(&page, 0, &mut []).unwrap();
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
    let error = eeprom.write_region(&page, 0, &[1, 2]).unwrap_err();
    assert!(matches!(error, Error::WriteCycleOverrun { safe_bytes: 0, .. }), "{error}");
    eeprom.read(7, &mut [0; 3]).unwrap();
    assert!(!chip.borrow().calls.iter().any(|call| matches!(call, Call::Read(.., false))));
    chip.borrow_mut().present = false;
    assert!(matches!(eeprom.write_region(&page, 0, &[1, 2]), Err(Error::NotAnswering { .. })));
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
        p.access = RegionAccess::Lockable(Lock { device_address: 0x58, word_address: 0x1_0000, data: 2 });
    };
    assert!(matches!(refused(far), GeometryError::CapacityUnreachable { .. }));
}

#[test]
fn a_region_may_be_shorter_than_its_page() {
    let serial = RegionParameters { word_address: 0, length_bytes: 6, access: RegionAccess::ReadOnly, ..PAGE };
    let region = Region::try_new(serial).unwrap();
    assert_eq!((region.length_bytes(), region.parameters()), (6, serial));
    let (chip, bus, clock) = rig(Parameters { device_address: 0x58, ..KBIT_32.parameters() });
    let mut eeprom = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let mut back = [0; 6];
    eeprom.read_region(&region, 0, &mut back).unwrap();
    assert_eq!(back, chip.borrow().memory[..6]);
}

#[test]
fn regions_wait_for_a_lazy_write_of_the_array_first() {
    let (array, _, _) = rig(KBIT_32.parameters());
    let (page, _, _) = rig(Parameters { device_address: 0x58, ..KBIT_32.parameters() });
    let parts = vec![array.clone(), page];
    let options = Options::new().with_lazy(true);
    let mut eeprom = Eeprom::<_, _, 34>::new(Bus(parts.clone()), Clock(parts), KBIT_32, options);
    eeprom.write(0, &[1]).unwrap();
    eeprom.read_region(&Region::try_new(PAGE).unwrap(), 0, &mut [0]).unwrap();
    let array = array.borrow();
    assert!(array.now_us >= array.busy_until_us);
}

// ---- common geometry ----

#[test]
fn a_common_geometry_is_the_most_cautious_of_all_parts() {
    let a = KBIT_32;
    let b = Geometry::new(Parameters {
        page_bytes: 64,
        capacity_bytes: 32_768,
        sequential_read_bytes: 1024,
        write_cycle_us: 10_000,
        ..KBIT_32.parameters()
    });
    let common = Geometry::common(&[a, b, a]).unwrap().parameters();
    let expected = Parameters { sequential_read_bytes: 1024, write_cycle_us: 10_000, ..KBIT_32.parameters() };
    assert_eq!(common, expected);
    assert_eq!(Geometry::common(&[b, a]).unwrap().parameters(), expected);
    assert_eq!(Geometry::common(&[a]), Ok(a));
    // Where there are no block-select bits, it does not matter where they would be.
    let elsewhere = Geometry::new(Parameters { block_select_shift: 1, ..KBIT_32.parameters() });
    assert_eq!(Geometry::common(&[a, elsewhere]), Ok(a));
}

#[test]
fn a_common_geometry_is_refused_with_the_reason() {
    assert_eq!(Geometry::common(&[]), Err(CommonError::Empty));
    let error = CommonError::WordAddressBytes { index: 1, first: 2, found: 1 };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_16]), Err(error));
    let other = KBIT_32.with_device_address(0x51).unwrap();
    let error = CommonError::DeviceAddress { index: 2, first: 0x50, found: 0x51 };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_32, other]), Err(error));
    let error = CommonError::BlockSelect { index: 1, first: (0, 0), found: (1, 2) };
    assert_eq!(Geometry::common(&[KBIT_32, KBIT_1024_TOP]), Err(error));
    assert!(error.to_string().ends_with(": part 0 has 0 at shift 0, part 1 has 1 at shift 2"), "{error}");
    let moved = Geometry::new(Parameters { block_select_shift: 0, ..KBIT_1024_TOP.parameters() });
    let error = CommonError::BlockSelect { index: 2, first: (1, 2), found: (1, 0) };
    assert_eq!(Geometry::common(&[KBIT_1024_TOP, KBIT_1024_TOP, moved]), Err(error));
}

// ---- choice at run time ----

/// A record that names its part.
fn record(name: u8) -> [u8; 4] {
    [0x5E, name, !name, 0x77]
}

fn accepts(index: usize, bytes: &[u8]) -> bool {
    bytes == record(index as u8)
}

fn choice(
    fitted: Geometry,
    name: u8,
    at: u32,
    candidates: &[Candidate],
    longer: LongerHeader,
) -> Result<usize, ChooseError<ErrorKind>> {
    let (chip, mut bus, mut clock) = rig(fitted.parameters());
    chip.borrow_mut().memory[at as usize..][..4].copy_from_slice(&record(name));
    let before = chip.borrow().memory.clone();
    let mut scratch = [0; 8];
    let result = choose(&mut bus, &mut clock, candidates, &mut scratch, &Options::new(), longer, accepts);
    assert_eq!(chip.borrow().memory, before);
    assert!(!chip.borrow().calls.iter().any(|call| matches!(call, Call::Write(..))), "nothing is ever written");
    result
}

const BOTH: [Candidate; 2] = [
    Candidate { geometry: KBIT_32, record_offset: 0x40, record_bytes: 4 },
    Candidate { geometry: KBIT_16, record_offset: 0x10, record_bytes: 4 },
];

#[test]
fn second_source_is_recognised_by_reading_only() {
    assert_eq!(choice(KBIT_16, 1, 0x10, &BOTH, LongerHeader::Refuse), Ok(1));
    assert_eq!(choice(KBIT_32, 0, 0x40, &BOTH, LongerHeader::AfterShorter), Ok(0));
    assert_eq!(choice(KBIT_32, 0, 0x40, &BOTH, LongerHeader::Refuse), Err(ChooseError::NoneFits { untried: 1 }));
    assert_eq!(choice(KBIT_32, 9, 0x40, &BOTH, LongerHeader::AfterShorter), Err(ChooseError::NoneFits { untried: 0 }));
}

#[test]
fn second_source_waits_out_a_write_cycle_from_before_a_reset() {
    let (chip, mut bus, mut clock) = rig(KBIT_16.parameters());
    chip.borrow_mut().memory[0x10..0x14].copy_from_slice(&record(1));
    chip.borrow_mut().busy_until_us = 4_900;
    let options = Options::new();
    let result = choose(&mut bus, &mut clock, &BOTH, &mut [0; 4], &options, LongerHeader::Refuse, accepts);
    assert_eq!(result, Ok(1));
}

#[test]
fn second_source_that_cannot_be_told_apart_says_so() {
    let larger = Geometry::new(part(8192, 32, 2, 0));
    let candidates = [
        Candidate { geometry: KBIT_32, record_offset: 0x40, record_bytes: 4 },
        Candidate { geometry: larger, record_offset: 0x40, record_bytes: 4 },
    ];
    let (chip, mut bus, mut clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().memory[0x40..0x44].copy_from_slice(&record(0));
    let any = |_: usize, bytes: &[u8]| bytes == record(0);
    let options = Options::new();
    let result = choose(&mut bus, &mut clock, &candidates, &mut [0; 4], &options, LongerHeader::Refuse, any);
    assert_eq!(result, Err(ChooseError::Ambiguous { first: 0, second: 1 }));
}

#[test]
fn second_source_candidates_that_contradict_themselves_send_nothing() {
    let (chip, mut bus, mut clock) = rig(KBIT_32.parameters());
    let mut try_one = |candidate: Candidate, scratch: &mut [u8]| {
        let options = Options::new();
        choose(&mut bus, &mut clock, &[candidate], scratch, &options, LongerHeader::Refuse, accepts)
    };
    let at = |record_offset, record_bytes| Candidate { geometry: KBIT_32, record_offset, record_bytes };
    let out_of_range = |offset, length| ChooseError::OutOfRange { index: 0, offset, length, capacity: 4096 };
    assert_eq!(try_one(at(4094, 3), &mut [0; 8]), Err(out_of_range(4094, 3)));
    assert_eq!(try_one(at(0, 0), &mut [0; 8]), Err(out_of_range(0, 0)));
    assert_eq!(try_one(at(0, 9), &mut [0; 8]), Err(ChooseError::ScratchTooSmall { needed: 9 }));
    assert_eq!(chip.borrow().calls, []);
}

#[test]
fn second_source_is_not_fooled_by_a_pointer_that_stands_at_a_record() {
    // A two-byte part that a one-byte header leaves with its pointer where it was: the record is read once.
    let mut reads = 0;
    let mut i2c = Fixed(move |header: &[u8], buffer: &mut [u8]| {
        assert_eq!(header.len(), 1);
        reads += 1;
        buffer.fill(0xEE);
        if reads == 1 {
            buffer.copy_from_slice(&record(1));
        }
    });
    let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
    let options = Options::new();
    let result = choose(&mut i2c, &mut delay, &BOTH, &mut [0; 4], &options, LongerHeader::Refuse, accepts);
    assert_eq!(result, Err(ChooseError::NoneFits { untried: 1 }));
}

/// A bus that answers every random read by a function.
struct Fixed<F>(F);

impl<F> embedded_hal::i2c::ErrorType for Fixed<F> {
    type Error = ErrorKind;
}

impl<F: FnMut(&[u8], &mut [u8])> embedded_hal::i2c::I2c for Fixed<F> {
    fn transaction(&mut self, _: u8, operations: &mut [embedded_hal::i2c::Operation<'_>]) -> Result<(), ErrorKind> {
        match operations {
            [embedded_hal::i2c::Operation::Write(header), embedded_hal::i2c::Operation::Read(buffer)] => {
                (self.0)(header, buffer);
                Ok(())
            }
            _ => panic!("not a random read"),
        }
    }
}

// ---- bus recovery ----

/// Two open-drain lines and a part that holds SDA low for some more clocks.
#[derive(Default)]
struct Lines {
    scl: bool,
    sda: bool,
    held_for: usize,
    clocks: usize,
    events: Vec<&'static str>,
}

struct Scl(Rc<RefCell<Lines>>);
struct Sda(Rc<RefCell<Lines>>);

impl PinErrorType for Scl {
    type Error = Infallible;
}

impl PinErrorType for Sda {
    type Error = Infallible;
}

impl OutputPin for Scl {
    fn set_low(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        lines.scl = false;
        lines.held_for = lines.held_for.saturating_sub(1);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if !lines.scl {
            lines.clocks += 1;
        }
        lines.scl = true;
        Ok(())
    }
}

impl OutputPin for Sda {
    fn set_low(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if lines.scl && lines.sda && lines.held_for == 0 {
            lines.events.push("START");
        }
        lines.sda = false;
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if lines.scl && !lines.sda && lines.held_for == 0 && !lines.events.is_empty() {
            lines.events.push("STOP");
        }
        lines.sda = true;
        Ok(())
    }
}

impl InputPin for Sda {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let lines = self.0.borrow();
        Ok(lines.sda && lines.held_for == 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

#[test]
fn l5_nine_clocks_start_and_stop_free_a_part_in_mid_read() {
    for held_for in 0..=9 {
        let lines = Rc::new(RefCell::new(Lines { scl: true, held_for, ..Lines::default() }));
        let (mut scl, mut sda) = (Scl(lines.clone()), Sda(lines.clone()));
        let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
        assert_eq!(free_bus(&mut scl, &mut sda, &mut delay, 5), Ok(()));
        let lines = lines.borrow();
        assert_eq!((lines.clocks, lines.events.as_slice()), (9, ["START", "STOP"].as_slice()));
        assert!(lines.scl && lines.sda);
    }
}

#[test]
fn l5_a_line_that_stays_low_is_reported() {
    let lines = Rc::new(RefCell::new(Lines { scl: true, held_for: 1000, ..Lines::default() }));
    let (mut scl, mut sda) = (Scl(lines.clone()), Sda(lines));
    let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
    assert_eq!(free_bus(&mut scl, &mut sda, &mut delay, 5), Err(RecoveryError::StillLow));
}

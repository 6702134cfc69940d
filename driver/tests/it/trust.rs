//! What `update` keeps: only bytes that it has itself written, or that the firmware vouches for.

use crate::common::*;
use embedded_hal::i2c::ErrorKind;
use pagewise_driver::{
    Chips, Eeprom, Error, Memory, Options, Protected, Region, RegionAccess, RegionParameters, Trust, Updated,
    WriteProtectTiming,
};

type Driver = Eeprom<Bus, Clock, 34>;

fn driver(options: Options) -> (std::rc::Rc<std::cell::RefCell<FakeChip>>, Driver) {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    (chip, Driver::new(bus, clock, KBIT_32, options))
}

const fn updated(written: u32, kept: u32) -> Result<Updated, Error<ErrorKind>> {
    Ok(Updated { written, kept })
}

#[test]
fn the_first_update_of_a_place_writes_whatever_it_reads_and_the_next_keeps() {
    let (chip, mut driver) = driver(Options::new());
    let same = chip.borrow().memory[16..80].to_vec();
    let mut trust = Trust::new();
    assert_eq!(driver.update(16, &same, &mut trust), updated(3, 0));
    assert!(chip.borrow().calls.iter().all(|call| matches!(call, Call::Write(..))), "nothing is read");
    assert_eq!(driver.update(16, &same, &mut trust), updated(0, 3));
    // Half of it is known; of the other half nothing.
    let more = chip.borrow().memory[48..112].to_vec();
    assert_eq!(driver.update(48, &more, &mut trust), updated(2, 2));
    let both = chip.borrow().memory[16..112].to_vec();
    assert_eq!(driver.update(16, &both, &mut trust), updated(0, 4));
    assert_eq!(driver.update(16, &[], &mut trust), updated(0, 0));
    assert_eq!(driver.update(16, &same, &mut Trust::default()), updated(3, 0), "a new memory knows nothing");
}

#[test]
fn what_the_firmware_vouches_for_is_kept() {
    let (chip, mut driver) = driver(Options::new());
    let mut trust = Trust::new();
    driver.write(100, &[1; 40]).unwrap();
    trust.add(100, 40);
    assert_eq!(driver.update(100, &[1; 40], &mut trust), updated(0, 2));
    trust.clear();
    assert_eq!(driver.update(100, &[1; 40], &mut trust), updated(2, 0));
    trust.add(0, usize::MAX);
    let all = chip.borrow().memory.clone();
    assert_eq!(driver.update(0, &all, &mut trust), updated(0, 128));
    assert_eq!(driver.update_trusting(0, &all), updated(0, 128));
}

#[test]
fn four_places_are_remembered_and_a_fifth_takes_the_place_of_the_oldest() {
    let (_, mut driver) = driver(Options::new());
    let mut trust = Trust::new();
    for place in 0..4 {
        assert_eq!(driver.update(place * 100, &[7; 8], &mut trust).unwrap().written, 1);
    }
    for place in 0..4 {
        assert_eq!(driver.update(place * 100, &[7; 8], &mut trust), updated(0, 1), "place {place}");
    }
    driver.update(400, &[7; 8], &mut trust).unwrap();
    assert_eq!(driver.update(300, &[7; 8], &mut trust).unwrap().written, 0);
    assert_eq!(driver.update(0, &[7; 8], &mut trust).unwrap().written, 1);
}

#[test]
fn after_a_call_that_has_failed_nothing_is_trusted_any_longer() {
    let (chip, mut driver) = driver(Options::new());
    let mut trust = Trust::new();
    driver.update(64, &[1; 32], &mut trust).unwrap();
    // The part alone loses its supply in the write cycle of a plain write, and reads well when it is back.
    let writes = chip.borrow().page_writes;
    chip.borrow_mut().cut = Some((writes, Torn::Unstable));
    assert!(matches!(driver.write(64, &[2; 32]), Err(Error::WriteCycleOverrun { .. })));
    chip.borrow_mut().power_up();
    chip.borrow_mut().steady_unstable = true;
    let mut back = [0; 32];
    driver.read(64, &mut back).unwrap();
    assert_eq!(back, [2; 32], "it reads well");
    assert_eq!(driver.update(64, &[2; 32], &mut trust), updated(1, 0));
    chip.borrow_mut().steady_unstable = false;
    for _ in 0..20 {
        driver.read(64, &mut back).unwrap();
        assert_eq!(back, [2; 32]);
    }
    // A request that is refused before anything is sent says nothing about the part.
    driver.write(4090, &[0; 7]).unwrap_err();
    assert_eq!(driver.update(64, &[2; 32], &mut trust), updated(0, 1));
}

#[test]
fn an_error_counts_the_bytes_before_it_whether_they_were_trusted_or_not() {
    let (chip, mut driver) = driver(Options::new());
    let mut trust = Trust::new();
    driver.update(0, &[1; 32], &mut trust).unwrap();
    chip.borrow_mut().protect = Protect::NackData;
    let Err(Error::WriteProtected { offset: 32, safe_bytes: 32, .. }) = driver.update(0, &[1; 96], &mut trust) else {
        panic!("the second page is refused");
    };
    let error = Error::OutOfRange { offset: 4090, length: 7, capacity: 4096 };
    assert_eq!(driver.update(4090, &[0; 7], &mut trust), Err(error));
}

#[test]
fn a_part_without_write_cycles_has_nothing_that_could_be_cut() {
    let (chip, bus, clock) = rig(FRAM.parameters());
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, FRAM, Options::new());
    let same = chip.borrow().memory[..40].to_vec();
    assert_eq!(driver.update(0, &same, &mut Trust::new()).unwrap().written, 0);
}

#[test]
fn several_chips_have_one_memory_and_a_failure_of_any_empties_it() {
    let (one, _, _) = rig(KBIT_32.parameters());
    let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
    let parts = vec![one, two.clone()];
    let eeprom = Driver::new(Bus(parts.clone()), Clock(parts), KBIT_32, Options::new().with_lazy(true));
    let mut chips = Chips::new(eeprom, [0x50, 0x51]).unwrap();
    let mut trust = Trust::new();
    assert_eq!(chips.update(4080, &[9; 32], &mut trust), updated(2, 0));
    assert_eq!(chips.update(4080, &[9; 32], &mut trust), updated(0, 2));
    two.borrow_mut().present = false;
    chips.read(4096, &mut [0]).unwrap_err();
    two.borrow_mut().present = true;
    chips.read(0, &mut [0]).unwrap();
    assert_eq!(chips.update(4080, &[9; 32], &mut trust), updated(2, 0));
    assert_eq!(chips.update_trusting(4080, &[9; 32]), updated(0, 2));
}

#[test]
fn behind_a_wp_pin_it_is_the_same() {
    let (_, driver) = driver(Options::new());
    let mut guarded = Protected::new::<ErrorKind>(driver, Pin, WriteProtectTiming::new()).unwrap();
    let mut trust = Trust::new();
    assert_eq!(guarded.update(0, &[3; 40], &mut trust), updated(2, 0));
    assert_eq!(guarded.update(0, &[3; 40], &mut trust), updated(0, 2));
    assert_eq!(guarded.update_trusting(0, &[3; 40]), updated(0, 2));
}

#[cfg(feature = "async")]
#[test]
fn in_async_code_it_is_the_same() {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::AsyncEeprom;
    let (_, bus, clock) = rig(KBIT_32.parameters());
    let mut driver = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
    let mut trust = Trust::new();
    assert_eq!(now(driver.update(0, &[5; 32], &mut trust)), updated(1, 0));
    assert_eq!(now(driver.update(0, &[5; 32], &mut trust)), updated(0, 1));
    assert_eq!(now(driver.update_trusting(0, &[5; 32])), updated(0, 1));
}

#[test]
fn a_call_that_fails_in_a_region_takes_back_what_is_known_of_it() {
    let page = Region::try_new(
        RegionParameters::new()
            .with_device_address(0x50)
            .with_word_address_bytes(2)
            .with_length_bytes(32)
            .with_page_bytes(32)
            .with_access(RegionAccess::Writable),
    )
    .unwrap();
    let (chip, mut driver) = driver(Options::new());
    let (mut region, mut trust) = (driver.region(page), Trust::new());
    assert_eq!(region.update(0, &[7; 8], &mut trust), updated(1, 0));
    assert_eq!(region.update(0, &[7; 8], &mut trust), updated(0, 1));
    chip.borrow_mut().present = false;
    assert!(region.write(16, &[1]).is_err());
    chip.borrow_mut().present = true;
    assert_eq!(region.update(0, &[7; 8], &mut trust), updated(1, 0));
}

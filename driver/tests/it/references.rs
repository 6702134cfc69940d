//! A reference to a memory is a memory, and does the same: each verb, with the same answers and the same calls on the bus.

use crate::common::*;
use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::i2c::ErrorKind;
use pagewise_driver::{
    Chips, Eeprom, Extent, Memory, Options, Protected, Region, RegionAccess, RegionParameters, Trust,
    WriteProtectTiming,
};

/// Each verb once or twice, with what it answers; a name that begins with `-` is of a call that fails.
macro_rules! verbs {
    ($memory:ident, $now:ident) => {{
        let mut said = vec![format!("capacity {}", $memory.capacity())];
        let mut trust = Trust::new();
        let mut back = [0; 5];
        let mut say = |verb: &str, answer: String| said.push(format!("{verb}: {answer}"));
        say("write", format!("{:?}", $now!($memory.write(30, &[1, 2, 3, 4]))));
        say("read", format!("{:?}", $now!($memory.read(29, &mut back))));
        say("bytes", format!("{back:?}"));
        say("write_verified", format!("{:?}", $now!($memory.write_verified(62, &[5, 6, 7]))));
        say("fill", format!("{:?}", $now!($memory.fill(100, 40, 9))));
        say("compare", format!("{:?}", $now!($memory.compare(100, &[9; 40]))));
        say("compare", format!("{:?}", $now!($memory.compare(99, &[9; 40]))));
        for _ in 0..2 {
            say("update", format!("{:?}", $now!($memory.update(96, &[9; 40], &mut trust))));
        }
        say("update_trusting", format!("{:?}", $now!($memory.update_trusting(100, &[8; 30]))));
        say("update_trusting", format!("{:?}", $now!($memory.update_trusting(100, &[8; 30]))));
        say("update_suspect", format!("{:?}", $now!($memory.update_suspect(100, &[8; 30]))));
        say("-write", format!("{:?}", $now!($memory.write(4095, &[1, 2]))));
        say("failures", $memory.failures().to_string());
        say("wait_ready", format!("{:?}", $now!($memory.wait_ready())));
        $now!($memory.pause_us(321));
        said
    }};
}

/// What was said, the calls on the bus, and the time at the end.
type Seen = (Vec<String>, Vec<Call>, u64);

fn blocking(work: impl Fn(&mut Eeprom<Bus, Clock, 34>) -> Vec<String>) -> Seen {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let said = work(&mut Eeprom::new(bus, clock, KBIT_32, Options::new().with_lazy(true)));
    let chip = chip.borrow();
    (said, chip.calls.clone(), chip.now_us)
}

#[test]
fn a_reference_does_what_the_memory_does() {
    macro_rules! at_once {
        ($call:expr) => {
            $call
        };
    }
    fn through<M: Memory>(mut memory: M) -> Vec<String>
    where
        M::BusError: std::fmt::Debug,
    {
        verbs!(memory, at_once)
    }
    let own = blocking(|eeprom| verbs!(eeprom, at_once));
    assert!(blocking(|eeprom| through(eeprom)) == own);
    assert!(blocking(|mut eeprom| through(&mut eeprom)) == own);
    let dynamic = |eeprom: &mut Eeprom<Bus, Clock, 34>| through(eeprom as &mut dyn Memory<BusError = _>);
    assert!(blocking(dynamic) == own);
    // No verb does nothing, so that one without effect would be told apart.
    assert!(["kept: 0", "kept: 2", "index: 0", "[184, 1, 2, 3, 4]"].iter().all(|part| own.0.concat().contains(part)));
}

const REGION: RegionParameters = RegionParameters::new()
    .with_device_address(0x50)
    .with_word_address_bytes(2)
    .with_length_bytes(32)
    .with_page_bytes(32)
    .with_access(RegionAccess::Writable);

/// How long this takes on the chip's clock, in microseconds.
fn lasts_us(chip: &Rc<RefCell<FakeChip>>, work: impl FnOnce()) -> u64 {
    let before_us = chip.borrow().now_us;
    work();
    chip.borrow().now_us - before_us
}

#[test]
fn a_pause_is_as_long_whatever_stands_around_the_driver() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    assert_eq!(lasts_us(&chip, || driver.pause_us(321)), 321);
    let region = Region::try_new(REGION).unwrap();
    assert_eq!(lasts_us(&chip, || driver.region(region).pause_us(321)), 321);
    let mut guarded = Protected::new::<ErrorKind>(driver, Pin, WriteProtectTiming::new()).unwrap();
    assert_eq!(lasts_us(&chip, || guarded.pause_us(321)), 321);
    let mut chips = Chips::new(guarded.release().0, [0x50, 0x51]).unwrap();
    assert_eq!(lasts_us(&chip, || chips.pause_us(321)), 321);
    assert_eq!(chip.borrow().calls, []);
}

#[cfg(feature = "async")]
#[test]
fn a_pause_is_as_long_in_the_async_form() {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::{AsyncEeprom, AsyncMemory};

    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let mut driver = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
    assert_eq!(lasts_us(&chip, || now(driver.pause_us(321))), 321);
    let region = Region::try_new(REGION).unwrap();
    assert_eq!(lasts_us(&chip, || now(driver.region(region).pause_us(321))), 321);
    let mut guarded = Protected::new::<ErrorKind>(driver, Pin, WriteProtectTiming::new()).unwrap();
    assert_eq!(lasts_us(&chip, || now(guarded.pause_us(321))), 321);
    let mut chips = Chips::new(guarded.release().0, [0x50, 0x51]).unwrap();
    assert_eq!(lasts_us(&chip, || now(chips.pause_us(321))), 321);
}

#[cfg(feature = "async")]
#[test]
fn a_reference_does_what_the_memory_does_in_the_async_form() {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::{AsyncEeprom, AsyncMemory};

    type Driver = AsyncEeprom<AsyncBus, AsyncClock, 34>;

    macro_rules! waited {
        ($call:expr) => {
            now($call)
        };
    }
    fn through<M: AsyncMemory>(mut memory: M) -> Vec<String>
    where
        M::BusError: std::fmt::Debug,
    {
        verbs!(memory, waited)
    }
    let run = |work: fn(&mut Driver) -> Vec<String>| {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let said = work(&mut Driver::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new().with_lazy(true)));
        let chip = chip.borrow();
        (said, chip.calls.clone(), chip.now_us)
    };
    let own = run(|eeprom| verbs!(eeprom, waited));
    assert!(run(|eeprom| through(eeprom)) == own);
    assert!(run(|mut eeprom| through(&mut eeprom)) == own);
}

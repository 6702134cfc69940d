//! The async driver: parity with the blocking one, and calls dropped at every `await`.
#![cfg(feature = "async")]

use std::cell::RefCell;
use std::future::Future;
use std::pin::pin;
use std::rc::Rc;
use std::task::{Context, Poll, Waker};

use crate::common::*;
use embedded_hal::i2c::{ErrorKind, ErrorType, NoAcknowledgeSource, Operation};
use pagewise_driver::{AsyncEeprom, AsyncMemory, Eeprom, Error, Geometry, Options, Trust, Wait};
use proptest::prelude::*;

/// Is pending once, so that every bus call and every pause is a point where the caller can be dropped.
struct Once(bool);

impl Future for Once {
    type Output = ();

    fn poll(mut self: std::pin::Pin<&mut Self>, _: &mut Context<'_>) -> Poll<()> {
        if std::mem::replace(&mut self.0, true) { Poll::Ready(()) } else { Poll::Pending }
    }
}

/// Whether the call takes effect before or after the point where it can be dropped.
#[derive(Debug, Clone, Copy)]
enum Effect {
    BeforePause,
    AfterPause,
}

struct AsyncBus(Bus, Effect);

impl ErrorType for AsyncBus {
    type Error = ErrorKind;
}

impl embedded_hal_async::i2c::I2c for AsyncBus {
    async fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        if matches!(self.1, Effect::AfterPause) {
            Once(false).await;
        }
        let result = embedded_hal::i2c::I2c::transaction(&mut self.0, address, operations);
        if matches!(self.1, Effect::BeforePause) {
            Once(false).await;
        }
        result
    }
}

struct AsyncClock(Clock);

impl embedded_hal_async::delay::DelayNs for AsyncClock {
    async fn delay_ns(&mut self, ns: u32) {
        Once(false).await;
        embedded_hal::delay::DelayNs::delay_ns(&mut self.0, ns);
    }
}

/// Polls a future at most `polls` times; `None` if it was dropped before its end.
fn drive<T>(polls: usize, future: impl Future<Output = T>) -> Option<T> {
    let mut future = pin!(future);
    for _ in 0..polls {
        if let Poll::Ready(value) = future.as_mut().poll(&mut Context::from_waker(Waker::noop())) {
            return Some(value);
        }
    }
    None
}

type AsyncDriver = AsyncEeprom<AsyncBus, AsyncClock, 40>;

fn async_rig(geometry: Geometry, options: Options, effect: Effect) -> (Rc<RefCell<FakeChip>>, AsyncDriver) {
    let (chip, bus, clock) = rig(geometry.parameters());
    (chip, AsyncDriver::new(AsyncBus(bus, effect), AsyncClock(clock), geometry, options))
}

#[test]
fn a_write_dropped_at_any_await_leaves_nothing_that_the_next_call_does_not_repair() {
    let data: Vec<u8> = (100..190).collect();
    for effect in [Effect::BeforePause, Effect::AfterPause] {
        for wait in [Wait::Poll, Wait::Fixed] {
            for lazy in [false, true] {
                let mut dropped = 0;
                for polls in 1.. {
                    let options = Options::new().with_wait(wait).with_lazy(lazy).with_poll_interval_us(500);
                    let (chip, mut driver) = async_rig(KBIT_32, options, effect);
                    let before = chip.borrow().memory.clone();
                    if drive(polls, driver.write(10, &data)).is_some() {
                        break;
                    }
                    dropped += 1;
                    // Pages are old or new, in order, and nothing else is touched.
                    let memory = chip.borrow().memory.clone();
                    let new = memory[10..100].iter().zip(&data).take_while(|(a, b)| a == b).count();
                    assert!([0, 22, 54, 86, 90].contains(&new), "{new} bytes after {polls} polls");
                    assert_eq!(memory[10 + new..], before[10 + new..]);
                    let mut back = [0; 90];
                    drive(usize::MAX, driver.read(10, &mut back)).unwrap().unwrap();
                    assert_eq!(back, memory[10..100]);
                    drive(usize::MAX, driver.write(10, &data)).unwrap().unwrap();
                    drive(usize::MAX, driver.wait_ready()).unwrap().unwrap();
                    assert_eq!(chip.borrow().memory[10..100], data);
                }
                assert!(dropped > 4, "{dropped} points were tried");
            }
        }
    }
}

#[test]
fn a_region_write_dropped_at_any_await_is_waited_for_by_the_next_call() {
    use pagewise_driver::{Region, RegionAccess, RegionParameters};
    let page = Region::try_new(
        RegionParameters::new()
            .with_device_address(0x58)
            .with_word_address_bytes(2)
            .with_length_bytes(16)
            .with_page_bytes(16)
            .with_access(RegionAccess::Writable),
    )
    .unwrap();
    // Met at 0x50 and at 0x58.
    let two_addresses = KBIT_32.parameters().with_block_select_bits(1).with_block_select_shift(3);
    for effect in [Effect::BeforePause, Effect::AfterPause] {
        for (wait, busy) in
            [(Wait::Poll, ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)), (Wait::Fixed, ErrorKind::Bus)]
        {
            let mut dropped = 0;
            for polls in 1.. {
                let options = Options::new().with_wait(wait).with_poll_interval_us(500);
                let (chip, bus, clock) = rig(two_addresses);
                chip.borrow_mut().nack = busy;
                let mut driver = AsyncDriver::new(AsyncBus(bus, effect), AsyncClock(clock), KBIT_32, options);
                if drive(polls, driver.region(page).write(3, &[9; 4])).is_some() {
                    break;
                }
                dropped += 1;
                let mut back = [0; 8];
                drive(usize::MAX, driver.read(0, &mut back)).unwrap().unwrap();
                assert_eq!(back, chip.borrow().memory[..8], "{wait:?} after {polls} polls");
                let refused = |call: &Call| matches!(call, Call::Read(.., false));
                assert!(!chip.borrow().calls.iter().any(refused), "the read came after the wait");
            }
            assert!(dropped > 1, "{dropped} points were tried");
        }
    }
}

#[test]
fn all_calls_give_the_errors_of_the_blocking_driver() {
    let (_, mut driver) = async_rig(KBIT_32, Options::new(), Effect::AfterPause);
    assert_eq!(driver.capacity(), 4096);
    let error = Error::OutOfRange { offset: 4090, length: 7, capacity: 4096 };
    assert_eq!(drive(1, driver.write(4090, &[0; 7])), Some(Err(error)));
    assert_eq!(drive(1, driver.read(4090, &mut [0; 7])), Some(Err(error)));
    assert_eq!(drive(1, driver.write(4096, &[])), Some(Ok(())));
    let (_, mut driver) = async_rig(ZERO_BYTE, Options::new(), Effect::AfterPause);
    assert_eq!(drive(1, driver.current_address_read(&mut [0])), Some(Err(Error::Unsupported)));
}

#[derive(Debug, Clone)]
enum Request {
    Write(u32, Vec<u8>),
    Verified(u32, Vec<u8>),
    Update(u32, Vec<u8>),
    Fill(u32, usize, u8),
    Read(u32, usize),
    Compare(u32, Vec<u8>),
    Current(usize),
    Ready,
}

fn operation() -> impl Strategy<Value = Request> {
    let bytes = || proptest::collection::vec(any::<u8>(), 0..150);
    let offset = 0..2100u32;
    prop_oneof![
        (offset.clone(), bytes()).prop_map(|(o, b)| Request::Write(o, b)),
        (offset.clone(), bytes()).prop_map(|(o, b)| Request::Verified(o, b)),
        (offset.clone(), bytes()).prop_map(|(o, b)| Request::Update(o, b)),
        (offset.clone(), 0..150usize, any::<u8>()).prop_map(|(o, n, b)| Request::Fill(o, n, b)),
        (offset.clone(), 0..300usize).prop_map(|(o, n)| Request::Read(o, n)),
        (offset, bytes()).prop_map(|(o, b)| Request::Compare(o, b)),
        (0..30usize).prop_map(Request::Current),
        Just(Request::Ready),
    ]
}

/// Runs one operation on either driver; everything that it returns, as text.
macro_rules! perform {
    ($driver:expr, $trust:expr, $operation:expr, $finish:expr) => {
        match $operation {
            Request::Write(o, b) => format!("{:?}", $finish($driver.write(*o, b))),
            Request::Verified(o, b) => format!("{:?}", $finish($driver.write_verified(*o, b))),
            Request::Update(o, b) => format!("{:?}", $finish($driver.update(*o, b, &mut $trust))),
            Request::Fill(o, n, b) => format!("{:?}", $finish($driver.fill(*o, *n, *b))),
            Request::Compare(o, b) => format!("{:?}", $finish($driver.compare(*o, b))),
            Request::Ready => format!("{:?}", $finish($driver.wait_ready())),
            Request::Read(o, n) => {
                let mut into = vec![0; *n];
                let result = format!("{:?}", $finish($driver.read(*o, &mut into)));
                format!("{result} {into:?}")
            }
            Request::Current(n) => {
                let mut into = vec![0; *n];
                let result = format!("{:?}", $finish($driver.current_address_read(&mut into)));
                format!("{result} {into:?}")
            }
        }
    };
}

/// The same cases in every run.
fn config() -> ProptestConfig {
    let rng_seed = proptest::test_runner::RngSeed::Fixed(0xA5);
    ProptestConfig { cases: 200, failure_persistence: None, rng_seed, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn both_shells_give_equal_calls_results_and_times(
        index in 0..7usize,
        operations in proptest::collection::vec(operation(), 1..10),
        limit in prop_oneof![Just(usize::MAX), 3..64usize],
        lazy in any::<bool>(),
        fixed in any::<bool>(),
        fault in proptest::option::of((0..40usize, prop_oneof![
            Just(ErrorKind::Bus), Just(ErrorKind::Other),
            Just(ErrorKind::NoAcknowledge(embedded_hal::i2c::NoAcknowledgeSource::Unknown)),
        ])),
        protect in prop_oneof![Just(Protect::Off), Just(Protect::NackData), Just(Protect::AckAndDrop)],
        other_is_nack in any::<bool>(),
    ) {
        let geometry = [KBIT_1, KBIT_16, KBIT_32, KBIT_1024_TOP, KBIT_2048, ZERO_BYTE, FRAM][index];
        let options = Options::new().with_max_transfer_bytes(limit).with_lazy(lazy).with_other_is_nack(other_is_nack)
            .with_wait(if fixed { Wait::Fixed } else { Wait::Poll });
        let (chip, bus, clock) = rig(geometry.parameters());
        let mut blocking = Eeprom::<_, _, 40>::new(bus, clock, geometry, options);
        let (twin, mut asynch) = async_rig(geometry, options, Effect::AfterPause);
        let mut trusts = [Trust::new(), Trust::new()];
        for chip in [&chip, &twin] {
            chip.borrow_mut().fail_call = fault;
            chip.borrow_mut().protect = protect;
        }
        for operation in &operations {
            let one = perform!(blocking, trusts[0], operation, |result| result);
            let other = perform!(asynch, trusts[1], operation, |future| drive(usize::MAX, future).unwrap());
            prop_assert_eq!(one, other);
        }
        prop_assert_eq!(&chip.borrow().calls, &twin.borrow().calls);
        prop_assert_eq!(&chip.borrow().memory, &twin.borrow().memory);
        prop_assert_eq!(chip.borrow().now_us, twin.borrow().now_us);
    }
}

/// A pin that only keeps its level.
struct Level(Rc<RefCell<bool>>);

impl embedded_hal::digital::ErrorType for Level {
    type Error = std::convert::Infallible;
}

impl embedded_hal::digital::OutputPin for Level {
    fn set_low(&mut self) -> Result<(), Self::Error> {
        *self.0.borrow_mut() = false;
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Self::Error> {
        *self.0.borrow_mut() = true;
        Ok(())
    }
}

#[test]
fn wp_is_asserted_again_wherever_a_write_is_dropped() {
    use pagewise_driver::{AsyncMemory, Protected, WriteProtectTiming};
    for polls in 1.. {
        let (_, driver) = async_rig(KBIT_32, Options::new().with_poll_interval_us(1000), Effect::AfterPause);
        let level = Rc::new(RefCell::new(false));
        let pin = Level(level.clone());
        let mut guarded = Protected::new::<ErrorKind>(driver, pin, WriteProtectTiming::new()).unwrap();
        let mut future = Box::pin(guarded.write(30, &[1; 4]));
        let finished = drive(polls, future.as_mut()).is_some();
        assert_eq!(*level.borrow(), finished, "released while the write is under way");
        drop(future);
        assert!(*level.borrow(), "asserted after {polls} polls");
        if finished {
            assert!(polls > 10);
            break;
        }
    }
}

#[test]
fn all_calls_behind_a_wp_pin_do_their_work_and_leave_it_asserted() {
    use pagewise_driver::{AsyncMemory, Difference, Protected, Updated, WriteProtectTiming};
    let (chip, driver) = async_rig(KBIT_32, Options::new(), Effect::AfterPause);
    let level = Rc::new(RefCell::new(false));
    let mut guarded = Protected::new::<ErrorKind>(driver, Level(level.clone()), WriteProtectTiming::new()).unwrap();
    drive(usize::MAX, guarded.write(0, &[1])).unwrap().unwrap();
    drive(usize::MAX, guarded.write_verified(1, &[2])).unwrap().unwrap();
    drive(usize::MAX, guarded.fill(2, 1, 3)).unwrap().unwrap();
    let updated = drive(usize::MAX, guarded.update(3, &[4], &mut Trust::new())).unwrap();
    assert_eq!(updated, Ok(Updated { written: 1, kept: 0 }));
    assert_eq!(chip.borrow().memory[..4], [1, 2, 3, 4]);
    let mut back = [0; 4];
    drive(usize::MAX, guarded.read(0, &mut back)).unwrap().unwrap();
    assert_eq!(back, [1, 2, 3, 4]);
    let difference = Difference { index: 2, expected: 9, found: 3 };
    assert_eq!(drive(usize::MAX, guarded.compare(0, &[1, 2, 9, 4])), Some(Ok(Some(difference))));
    assert!(*level.borrow());
}

#[test]
fn several_chips_are_waited_for_after_a_lazy_write() {
    use pagewise_driver::{AsyncMemory, Chips};
    let (one, _, _) = rig(KBIT_32.parameters());
    let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
    let parts = vec![one, two.clone()];
    let (bus, clock) = (AsyncBus(Bus(parts.clone()), Effect::AfterPause), AsyncClock(Clock(parts)));
    let driver = AsyncDriver::new(bus, clock, KBIT_32, Options::new().with_lazy(true));
    let mut space = Chips::new(driver, [0x50, 0x51]).unwrap();
    drive(usize::MAX, space.write(4096, &[1])).unwrap().unwrap();
    assert!(two.borrow().now_us < two.borrow().busy_until_us, "the write is lazy");
    drive(usize::MAX, space.wait_ready()).unwrap().unwrap();
    assert!(two.borrow().now_us >= two.borrow().busy_until_us);
}

#[test]
fn several_chips_and_regions_work_in_the_async_form() {
    use pagewise_driver::{
        AsyncMemory, Chips, Difference, Irreversible, Lock, Region, RegionAccess, RegionParameters, Updated,
    };
    let (one, _, _) = rig(KBIT_32.parameters());
    let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
    let parts = vec![one, two.clone()];
    let (bus, clock) = (AsyncBus(Bus(parts.clone()), Effect::AfterPause), AsyncClock(Clock(parts)));
    let driver = AsyncDriver::new(bus, clock, KBIT_32, Options::new());
    let mut space = Chips::new(driver, [0x50, 0x51]).unwrap();
    drive(usize::MAX, space.write(4090, &[1; 12])).unwrap().unwrap();
    let mut back = [0; 12];
    drive(usize::MAX, space.read(4090, &mut back)).unwrap().unwrap();
    assert_eq!(back, [1; 12]);
    assert_eq!(two.borrow().memory[..6], [1; 6]);
    drive(usize::MAX, space.fill(4095, 2, 7)).unwrap().unwrap();
    drive(usize::MAX, space.write_verified(4094, &[8, 9])).unwrap().unwrap();
    let wanted = [1, 1, 1, 1, 8, 9, 7, 3];
    let difference = Difference { index: 7, expected: 3, found: 1 };
    assert_eq!(drive(usize::MAX, space.compare(4090, &wanted)), Some(Ok(Some(difference))));
    let updated = Updated { written: 1, kept: 1 };
    assert_eq!(drive(usize::MAX, space.update_trusting(4090, &wanted)), Some(Ok(updated)));
    assert_eq!(drive(usize::MAX, space.compare(4090, &wanted)), Some(Ok(None)));
    assert_eq!(two.borrow().memory[..6], [7, 3, 1, 1, 1, 1]);
    let mut driver = space.release();
    assert_eq!((driver.geometry().capacity_bytes(), driver.capacity()), (4096, 4096));
    let region = Region::try_new(
        RegionParameters::new()
            .with_device_address(0x51)
            .with_word_address_bytes(2)
            .with_word_address(2)
            .with_length_bytes(16)
            .with_page_bytes(16)
            .with_access(RegionAccess::Lockable(Lock::new(0x51, 0x0C00, 2))),
    )
    .unwrap();
    drive(usize::MAX, driver.region(region).write(0, &[9])).unwrap().unwrap();
    assert_eq!(two.borrow().memory[..4], [7, 3, 9, 1]);
    let mut back = [0; 2];
    drive(usize::MAX, driver.region(region).read(0, &mut back)).unwrap().unwrap();
    assert_eq!(back, [9, 1]);
    let token = Irreversible::i_know_that_this_cannot_be_undone();
    drive(usize::MAX, driver.region(region).lock(token)).unwrap().unwrap();
    assert_eq!(two.borrow().memory[0x0C00], 2);
}

#[cfg(feature = "records")]
mod records {
    use super::*;
    use pagewise_driver::records::{AsyncRecordStore, RecordError, RecordLayout, RecordSpec, RecordStore};

    const VALUE: u8 = 1;
    const COUNTER: u8 = 2;
    const SPECS: [RecordSpec; 2] = [RecordSpec::new(VALUE, 40, 3), RecordSpec::new(COUNTER, 8, 3)];

    type Store<'d> = AsyncRecordStore<'static, &'d mut AsyncDriver, 53>;

    fn store(driver: &mut AsyncDriver) -> Store<'_> {
        let layout = RecordLayout::try_new(driver.geometry(), 64, &SPECS).unwrap();
        AsyncRecordStore::new(driver, layout)
    }

    fn value(driver: &mut AsyncDriver) -> Vec<u8> {
        let mut payload = [0; 40];
        let stored = drive(usize::MAX, store(driver).read(VALUE, &mut payload)).unwrap().unwrap();
        payload[..stored.length].to_vec()
    }

    #[test]
    fn a_call_dropped_at_any_await_leaves_the_old_or_the_new_value_and_the_next_call_goes_on() {
        for effect in [Effect::BeforePause, Effect::AfterPause] {
            // Two pages per slot; two writes before, so that the third one meets a slot that was used.
            let (old, new) = ([7; 40], [9; 33]);
            let (mut seen_old, mut seen_new, mut dropped) = (false, false, 0);
            for polls in 1.. {
                let options = Options::new().with_poll_interval_us(1000);
                let (chip, mut driver) = async_rig(KBIT_32, options, effect);
                for round in 0..4u8 {
                    let last = if round == 3 { old } else { [round; 40] };
                    drive(usize::MAX, store(&mut driver).write(VALUE, 1, &last)).unwrap().unwrap();
                    drive(usize::MAX, store(&mut driver).increment(COUNTER)).unwrap().unwrap();
                }
                let before = chip.borrow().memory.clone();
                let finished = drive(polls, store(&mut driver).write(VALUE, 1, &new)).is_some();
                let found = value(&mut driver);
                assert!(found == old || found == new, "{found:?} after {polls} polls");
                assert!(!finished || found == new);
                (seen_old, seen_new) = (seen_old || found == old, seen_new || found == new);
                let after = chip.borrow().memory.clone();
                assert_eq!(after[64 + 3 * 64..], before[64 + 3 * 64..], "the counter's slots after {polls} polls");
                assert_eq!(after[..64], before[..64]);
                let interrupted = drive(polls, store(&mut driver).increment(COUNTER)).is_none();
                let count = drive(usize::MAX, store(&mut driver).count(COUNTER)).unwrap().unwrap();
                assert!(count == 5 || (interrupted && count == 4), "{count} after {polls} polls");
                drive(usize::MAX, store(&mut driver).write(VALUE, 2, b"again")).unwrap().unwrap();
                assert_eq!(value(&mut driver), b"again");
                assert_eq!(drive(usize::MAX, store(&mut driver).increment(COUNTER)), Some(Ok(count + 1)));
                if finished && !interrupted {
                    break;
                }
                dropped += 1;
            }
            assert!(seen_old && seen_new && dropped > 20, "{dropped} points were tried");
        }
    }

    #[test]
    fn both_stores_make_the_same_calls_and_give_the_same_results() {
        let (chip, bus, clock) = rig(KBIT_32.parameters());
        let mut blocking = Eeprom::<_, _, 40>::new(bus, clock, KBIT_32, Options::new());
        let (twin, mut asynch) = async_rig(KBIT_32, Options::new(), Effect::AfterPause);
        let layout = RecordLayout::try_new(&KBIT_32, 64, &SPECS).unwrap();
        let mut one = RecordStore::<_, 53>::new(&mut blocking, layout);
        let mut other = store(&mut asynch);
        let (mut payload, mut mirror) = ([0; 40], [0; 40]);
        for round in 0..9u8 {
            let bytes = [round; 21];
            assert_eq!(Some(one.write(VALUE, round, &bytes)), drive(usize::MAX, other.write(VALUE, round, &bytes)));
            let id = if round == 5 { VALUE } else { COUNTER };
            assert_eq!(Some(one.increment(id)), drive(usize::MAX, other.increment(id)));
            assert_eq!(Some(one.count(COUNTER)), drive(usize::MAX, other.count(COUNTER)));
            let room = if round == 2 { 20 } else { 40 };
            let read = one.read(VALUE, &mut payload[..room]);
            assert_eq!(Some(read), drive(usize::MAX, other.read(VALUE, &mut mirror[..room])));
            assert_eq!(payload, mirror);
            if round == 6 {
                assert_eq!(Some(one.erase(VALUE)), drive(usize::MAX, other.erase(VALUE)));
                assert_eq!(one.read(VALUE, &mut payload), Err(RecordError::NotFound));
                assert_eq!(drive(usize::MAX, other.read(VALUE, &mut mirror)), Some(Err(RecordError::NotFound)));
            }
            assert_eq!(one.write(9, 0, &[]), Err(RecordError::UnknownId { id: 9 }));
            assert_eq!(drive(1, other.write(9, 0, &[])), Some(Err(RecordError::UnknownId { id: 9 })));
        }
        assert_eq!(chip.borrow().calls, twin.borrow().calls);
        assert_eq!(chip.borrow().memory, twin.borrow().memory);
        assert_eq!(chip.borrow().now_us, twin.borrow().now_us);
    }
}

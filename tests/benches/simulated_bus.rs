//! The simulated bus under the driver. Numbers are simulated bytes per second of this computer's time.

use std::time::{Duration, Instant};

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use embedded_hal::i2c::I2c;
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use pagewise_driver::{Eeprom, Options};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{ChipId, CycleTime, Rig, RigBus, RigConfig, RigDelay, WireConfig};
use pagewise_tests::seat::Seat;

/// Transactions of the comparison with prepared expectations: 16 bytes of random read each.
const TRANSACTIONS: usize = 1000;

fn main() {
    divan::main();
    print_ratio();
}

fn transactions(bus: &mut impl I2c) {
    let mut data = [0; 16];
    for _ in 0..TRANSACTIONS {
        bus.write_read(0x50, &[0, 0x20], black_box(&mut data)).unwrap();
    }
}

fn mock() -> Mock {
    Mock::new(&vec![Transaction::write_read(0x50, vec![0, 0x20], vec![0xFF; 16]); TRANSACTIONS])
}

/// Medians of one run, alternating, so that all see the same load of the machine. A test with a mock also has to make its
/// expectations, so both are printed: made before the clock starts, and made inside.
fn print_ratio() {
    let (mut ours, mut prepared, mut made) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..101 {
        let (rig, _, _driver) = rig();
        let mut bus = rig.bus();
        ours.push(timed(|| transactions(&mut bus)));
        let mut bus = mock();
        prepared.push(timed(|| {
            transactions(&mut bus);
            bus.done();
        }));
        made.push(timed(|| {
            let mut bus = mock();
            transactions(&mut bus);
            bus.done();
        }));
    }
    let (ours, prepared, made) = (median(ours), median(prepared), median(made));
    println!("{TRANSACTIONS} transactions, trace off: simulated bus {ours:?}");
    for (what, time) in [("prepared", prepared), ("made inside", made)] {
        let ratio = time.as_secs_f64() / ours.as_secs_f64();
        println!("  a mock with expectations {what}: {time:?}, {ratio:.1} times as long");
    }
}

fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

/// A 24LC32A (32 kbit = 4096 bytes, 32-byte page) at 400 kHz with the longest write cycle, trace off.
fn rig() -> (Rig, ChipId, Eeprom<RigBus, RigDelay, 34>) {
    let card = Catalogue::embedded().unwrap().find("24lc32a").unwrap().clone();
    let seat = Seat::new(&card, 0, 0);
    let rig = Rig::new(RigConfig { scl_hz: 400_000, supply_mv: 5000, seed: 1 });
    rig.set_trace(false);
    let chip = rig.attach(card.chip_model(), seat.straps());
    rig.set_write_cycle(chip, CycleTime::Max);
    let driver = Eeprom::new(rig.bus(), rig.delay(), seat.geometry, Options::new());
    (rig, chip, driver)
}

#[divan::bench]
fn page_write_with_polling(bencher: Bencher) {
    let (_rig, _chip, driver) = rig();
    let driver = std::cell::RefCell::new(driver);
    let page = [0xA5; 32];
    bencher.counter(BytesCount::new(32u32)).bench_local(|| driver.borrow_mut().write(black_box(0x40), &page).unwrap());
}

/// The aim is less than 1 ms.
#[divan::bench]
fn write_and_verify_of_a_whole_32_kbit_part(bencher: Bencher) {
    let data: Vec<u8> = (0..4096u32).map(|n| (n % 251) as u8).collect();
    bencher.counter(BytesCount::new(data.len())).with_inputs(rig).bench_local_values(|(rig, chip, mut driver)| {
        driver.write_verified(0, &data).unwrap();
        assert_eq!(rig.memory(chip), data);
        rig
    });
}

#[divan::bench]
fn sequential_read_of_a_whole_32_kbit_part(bencher: Bencher) {
    let (_rig, _chip, driver) = rig();
    let driver = std::cell::RefCell::new(driver);
    let mut data = vec![0; 4096];
    bencher.counter(BytesCount::new(data.len())).bench_local(|| driver.borrow_mut().read(0, &mut data).unwrap());
}

/// SCL clocks with edges of a typical pull-up: nine for each byte of header, device address and data.
#[divan::bench]
fn wire_level_clocks_of_a_sequential_read(bencher: Bencher) {
    let (rig, _chip, _driver) = rig();
    let mut bus = rig.bit_bang(WireConfig::TYPICAL);
    let mut data = vec![0; 1000];
    bencher
        .counter(ItemsCount::new(9 * 1004usize))
        .bench_local(|| bus.write_read(0x50, &[0, 0], black_box(&mut data)).unwrap());
}

#[divan::bench]
fn thousand_transactions_on_the_simulated_bus(bencher: Bencher) {
    bencher
        .counter(ItemsCount::new(TRANSACTIONS))
        .with_inputs(|| rig().0.bus())
        .bench_local_values(|mut bus| transactions(&mut bus));
}

#[divan::bench]
fn thousand_transactions_on_prepared_expectations(bencher: Bencher) {
    bencher.counter(ItemsCount::new(TRANSACTIONS)).with_inputs(mock).bench_local_values(|mut bus| {
        transactions(&mut bus);
        bus.done();
    });
}

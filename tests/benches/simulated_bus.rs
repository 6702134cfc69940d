//! The simulated bus under the driver. Numbers are simulated bytes per second of this computer's time.

use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use pagewise::card::Catalogue;
use pagewise_driver::{Eeprom, Options};
use pagewise_simulator::{ChipId, CycleTime, Rig, RigBus, RigConfig, RigDelay};
use pagewise_tests::seat::Seat;

fn main() {
    divan::main();
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

//! The simulated bus under the driver. Rates are simulated bytes per second of this computer's time; the bus itself, beside a
//! mock with expectations, is in the simulator's bench `speed`.

use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use pagewise_driver::{Eeprom, Geometry, Options};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{ChipId, ChipModel, CycleTime, Rig, RigBus, RigConfig, RigDelay, Straps};
use pagewise_tests::seat::Seat;

fn main() {
    divan::main();
}

type Driver = Eeprom<RigBus, RigDelay, 34>;

/// What is fitted, read from the catalogue once: to read it before each sample would leave the caches cold.
struct Fitted {
    model: ChipModel,
    straps: Straps,
    geometry: Geometry,
}

impl Fitted {
    /// A 24LC32A: 32 kbit = 4096 bytes, pages of 32 bytes.
    fn new() -> Self {
        let card = Catalogue::embedded().unwrap().find("24lc32a").unwrap().clone();
        let seat = Seat::new(&card, 0, 0);
        Self { model: card.chip_model(), straps: seat.straps(), geometry: seat.geometry }
    }

    /// At 400 kHz with the longest write cycle, trace off.
    fn rig(&self, options: Options) -> (Rig, ChipId, Driver) {
        let rig = Rig::new(RigConfig { scl_hz: 400_000, supply_mv: 5000, seed: 1 });
        rig.set_trace(false);
        let chip = rig.attach(self.model.clone(), self.straps);
        rig.set_write_cycle(chip, CycleTime::Max);
        let driver = Eeprom::new(rig.bus(), rig.delay(), self.geometry, options);
        (rig, chip, driver)
    }
}

#[divan::bench]
fn page_write_with_polling(bencher: Bencher) {
    let (_rig, _chip, mut driver) = Fitted::new().rig(Options::new());
    let page = [0xA5; 32];
    bencher.counter(BytesCount::new(32_u32)).bench_local(move || driver.write(black_box(0x40), &page).unwrap());
}

fn write_and_verify(bencher: Bencher, options: Options) {
    let fitted = Fitted::new();
    let data: Vec<u8> = (0..4096_u32).map(|n| (n % 251) as u8).collect();
    let ready = || {
        let (rig, chip, mut driver) = fitted.rig(options);
        // The first write cycles of a board, from which a driver learns.
        (0..32).for_each(|n| driver.write(32 * n, &[0; 32]).unwrap());
        (rig, chip, driver)
    };
    bencher.counter(BytesCount::new(data.len())).with_inputs(ready).bench_local_refs(|(rig, chip, driver)| {
        driver.write_verified(0, &data).unwrap();
        assert!(rig.holds(*chip, &data));
    });
}

#[divan::bench]
fn write_and_verify_of_a_whole_32_kbit_part(bencher: Bencher) {
    write_and_verify(bencher, Options::new());
}

/// The aim is less than 0.6 ms.
#[divan::bench]
fn write_and_verify_of_a_whole_32_kbit_part_with_learned_waits(bencher: Bencher) {
    write_and_verify(bencher, Options::new().with_learning(true));
}

#[divan::bench]
fn sequential_read_of_a_whole_32_kbit_part(bencher: Bencher) {
    let (_rig, _chip, mut driver) = Fitted::new().rig(Options::new());
    let mut data = vec![0; 4096];
    bencher.counter(BytesCount::new(data.len())).bench_local(move || driver.read(0, &mut data).unwrap());
}

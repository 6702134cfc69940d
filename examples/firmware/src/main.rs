//! Firmware of an invented flow meter on a Cortex-M3. It keeps its calibration in an EEPROM, loses its supply in the
//! middle of an update again and again, and always starts with the old calibration or the new one.
//!
//! `part.rs` was written by `pagewise generate 24lc32a`, `calibration.rs` is what you would copy, `board.rs` stands in
//! for your HAL. Build and run with Debian's toolchain (packages rustc-web, cargo-web, rust-web-src, gcc-arm-none-eabi
//! and qemu-system-arm): `PATH=/usr/bin:$PATH RUSTC_BOOTSTRAP=1 cargo run --release` in this folder.
#![no_std]
#![no_main]

mod board;
mod calibration;
mod part;

use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use pagewise_simulator::{BusError, TornModel};
use panic_semihosting as _;

use board::Board;
use calibration::{Calibration, Fault, Settings};

/// Memory of the simulated chip; the driver needs none.
#[global_allocator]
static HEAP: emballoc::Allocator<{ 256 * 1024 }> = emballoc::Allocator::new();

/// The update takes less than this, with a write cycle of 5 ms.
const LAST_CUT_US: u64 = 9_000;
const CUT_STEP_US: u64 = 450;

#[entry]
fn main() -> ! {
    let board = Board::new();
    let well = first_start(&board).is_ok() && updates_with_cuts(&board).is_ok();
    debug::exit(if well { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {
        cortex_m::asm::wfi();
    }
}

/// Nothing is stored yet: the firmware takes its defaults, and is calibrated.
fn first_start(board: &Board) -> Result<(), Fault<BusError>> {
    let mut settings = Settings::new(board.i2c(), board.delay());
    let start = settings.count_start()?;
    let found = settings.calibration()?;
    hprintln!("start {}: {:?}, so {:?}", start, found, found.unwrap_or(Calibration::FACTORY));
    settings.set_calibration(Calibration { pulses: 450_000, zero_uv: -12 })
}

/// Updates the calibration while the supply is lost, a little later each time, and starts again.
fn updates_with_cuts(board: &Board) -> Result<(), Fault<BusError>> {
    let torn_models = TornModel::ALL.into_iter().cycle();
    for (cut_us, torn) in (0..=LAST_CUT_US).step_by(CUT_STEP_US as usize).zip(torn_models) {
        let mut settings = Settings::new(board.i2c(), board.delay());
        let old = settings.calibration()?.unwrap_or(Calibration::FACTORY);
        let new = Calibration { pulses: old.pulses + 10, ..old };
        board.lose_supply_in_us(cut_us, torn);
        // A real controller loses its supply too and never sees this result.
        let acknowledged = settings.set_calibration(new).is_ok();
        board.restore_supply();

        // From here on as after any reset: a driver that knows nothing.
        let mut settings = Settings::new(board.i2c(), board.delay());
        let start = settings.count_start()?;
        let found = settings.calibration()?;
        let which = match found {
            Some(found) if found == new => "new",
            Some(found) if found == old && !acknowledged => "old",
            _ => panic!("supply lost after {cut_us} us of the update: {old:?} became {found:?}"),
        };
        hprintln!("start {}: supply lost {} us into the update, found the {} calibration", start, cut_us, which);
        // The technician repeats what the meter has not confirmed.
        settings.set_calibration(new)?;
    }
    Ok(())
}

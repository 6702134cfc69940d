//! busy-access: a fixed delay that is too short.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "busy-access",
    hazard: Hazard::BusyAccess,
    title: "a delay shorter than the write cycle drops writes",
    story: "The program waits 3 ms after each write. The part needs up to 5 ms and does not answer meanwhile; nobody looks \
            at the error.",
    in_a_swap: "The old part was done in 3 ms; the new one has a longer write cycle, on some days only.",
    safe_way: "Poll for the acknowledge after each write, bounded by the part's longest write cycle, and report errors.",
    rules: &["W6", "W7"],
    from_outside: false,
    source: include_str!("busy_access.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, delay: &mut impl DelayNs, pages: &[Vec<u8>]) {
    for (number, page) in pages.iter().enumerate() {
        let mut message = vec![0x00, 32 * number as u8];
        message.extend_from_slice(page);
        let _ = i2c.write(0x50, &message);
        delay.delay_ms(3);
    }
}

fn stage() -> (Stage, Vec<Vec<u8>>) {
    let mut stage = Stage::new("at24c32e");
    let pages = vec![pattern(0x10, 16), pattern(0x40, 16), pattern(0x70, 16)];
    for (number, page) in pages.iter().enumerate() {
        stage.meant(32 * number as u32, page);
    }
    (stage, pages)
}

fn naive() -> Side {
    let (stage, pages) = stage();
    program(&mut stage.rig.bus(), &mut stage.rig.delay(), &pages);
    stage.finish("errors were not looked at".into())
}

fn safe() -> Side {
    let (stage, pages) = stage();
    let mut driver = stage.driver();
    let result = pages.iter().enumerate().try_for_each(|(number, page)| driver.write(32 * number as u32, page));
    stage.finish(said(&result))
}

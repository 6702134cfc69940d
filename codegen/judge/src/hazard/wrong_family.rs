//! wrong-family: a serial SRAM on the EEPROM's footprint.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, OtherFamily, RigConfig, Straps};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "wrong-family",
    hazard: Hazard::WrongFamily,
    title: "a part of another bus sits where the EEPROM should",
    story: "The reel says 23..., a serial SRAM for SPI, in the same eight pins. Nobody answers on I2C; the program does not \
            look at the errors and works with a buffer of zeros.",
    in_a_swap: "23, 24, 25 and 93 in a marking are four families; the digits after them look alike.",
    safe_way: "The driver says that nobody answers before anything rests on the data. Only the right part helps.",
    rules: &["B5"],
    from_outside: false,
    source: include_str!("wrong_family.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8], back: &mut [u8]) {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    let _ = i2c.write(0x50, &message);
    let _ = i2c.write_read(0x50, &[0x00, 0x20], back);
}

/// The board also has an EEPROM of its own at 0x57, which is not meant.
fn wrongly_fitted() -> Stage {
    let stage = Stage::with("24lc32a", Straps::address(7), RigConfig::default());
    stage.rig.attach_wrong_family(0x50, OtherFamily::Sram23);
    stage
}

fn naive() -> Side {
    let mut stage = wrongly_fitted();
    let serial = pattern(0x61, 8);
    let mut back = [0; 8];
    program(&mut stage.rig.bus(), &serial, &mut back);
    stage.has_read(0x20, &serial, Some(&back));
    let side = stage.finish("errors were not looked at".into());
    Side { part: OtherFamily::Sram23.what().into(), ..side }
}

fn safe() -> Side {
    let wrong = wrongly_fitted();
    let serial = pattern(0x61, 8);
    let refused = wrong.driver().write_verified(0x20, &serial);
    let mut stage = Stage::new("24lc32a");
    stage.meant(0x20, &serial);
    let result = stage.driver().write_verified(0x20, &serial);
    stage.finish(format!("with the 23-series part: {}; with the EEPROM: {}", said(&refused), said(&result)))
}

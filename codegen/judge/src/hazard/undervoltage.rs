//! undervoltage: a 2.5 V part at 1.8 V.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, RigConfig, Straps};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "undervoltage",
    hazard: Hazard::Undervoltage,
    title: "the supply is below what the part needs",
    story: "The board runs at 1.8 V, the part needs 2.5 V. It does not answer, and nobody looks at the error.",
    in_a_swap: "The same part number in another supply grade was on the shelf.",
    safe_way: "The driver reports that nobody answers and how many bytes are safe (none). Only the right part helps.",
    rules: &["P1"],
    from_outside: false,
    source: include_str!("undervoltage.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    let _ = i2c.write(0x50, &message);
}

fn stage(part: &str) -> (Stage, Vec<u8>) {
    let config = RigConfig::default().with_supply_mv(1800).with_scl_hz(100_000);
    let mut stage = Stage::with(part, Straps::GROUND, config);
    let serial = pattern(0x41, 8);
    stage.meant(0x20, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (stage, serial) = stage("24lc32a");
    program(&mut stage.rig.bus(), &serial);
    stage.finish("errors were not looked at".into())
}

fn safe() -> Side {
    let (wrong, serial) = stage("24lc32a");
    let refused = wrong.driver().write(0x20, &serial);
    let (stage, serial) = stage("24aa32a");
    let result = stage.driver().write_verified(0x20, &serial);
    stage.finish(format!("with the 2.5 V part: {}; with the 1.7 V part: {}", said(&refused), said(&result)))
}

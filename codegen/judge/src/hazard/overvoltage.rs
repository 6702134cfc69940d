//! overvoltage: a 3.6 V part on a 5 V rail.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, RigConfig, Straps};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "overvoltage",
    hazard: Hazard::Overvoltage,
    title: "the supply is above the part's maximum",
    story: "The board runs at 5 V, the part is made for 3.6 V at most. On the bench it may answer, and every call succeeds; \
            above the maximum its sheet promises nothing, so none of the bytes counts as stored.",
    in_a_swap: "The old part went up to 5.5 V; the new one is the newer, low-voltage die of the same density.",
    safe_way: "Only the right part helps, or a lower supply. No driver can see that a part lives above its limits.",
    rules: &["P6"],
    from_outside: false,
    source: include_str!("overvoltage.rs"),
    naive,
    safe,
};

const AT: u32 = 0x20;

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    i2c.write(0x50, &message)
}

fn stage(part: &str) -> (Stage, Vec<u8>) {
    let mut stage = Stage::with(part, Straps::GROUND, RigConfig::default().with_supply_mv(5000));
    let serial = pattern(0x61, 8);
    stage.meant(AT, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (mut stage, serial) = stage("at24c32e");
    let result = program(&mut stage.rig.bus(), &serial);
    // What is read back proves nothing there.
    stage.has_read(AT, &serial, None);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, serial) = stage("24lc32a");
    let result = stage.driver().write_verified(AT, &serial);
    stage.finish(format!("with the 5.5 V part: {}", said(&result)))
}

//! capacity-alias: an offset beyond the part.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "capacity-alias",
    hazard: Hazard::CapacityAlias,
    title: "an offset beyond the part hits another place",
    story: "The program logs at 0x1020. The part has 4096 bytes and takes no notice of the address bits above: the log \
            goes to 0x0020, where the calibration is.",
    in_a_swap: "A 64 kbit part is replaced by a 32 kbit part, since \"we never use the upper half\".",
    safe_way: "A driver that knows the capacity refuses the offset before it sends anything; place the log inside.",
    rules: &["B4"],
    from_outside: false,
    source: include_str!("capacity_alias.rs"),
    naive,
    safe,
};

const PART: &str = "at24c32e";

fn program<I2C: I2c>(i2c: &mut I2C, entry: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x10, 0x20]; // word address of the log
    message.extend_from_slice(entry);
    i2c.write(0x50, &message)
}

fn naive() -> Side {
    let mut stage = Stage::new(PART);
    let entry = pattern(0xC0, 8);
    stage.holds(0x20, &pattern(0x01, 16));
    stage.meant(0x1020, &entry);
    let result = program(&mut stage.rig.bus(), &entry);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let mut stage = Stage::new(PART);
    let entry = pattern(0xC0, 8);
    stage.holds(0x20, &pattern(0x01, 16));
    let mut driver = stage.driver();
    let refused = driver.write(0x1020, &entry);
    stage.meant(0x0820, &entry);
    let result = driver.write(0x0820, &entry);
    stage.finish(format!("at 0x1020: {}; at 0x0820: {}", said(&refused), said(&result)))
}

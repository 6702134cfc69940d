//! block-alias: blocks of a part that has none.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "block-alias",
    hazard: Hazard::BlockAlias,
    title: "the part ignores block-select bits, and two tables collide",
    story: "The program keeps one table at device address 0x50 and another at 0x51, the second block of a 4 kbit part. \
            The fitted part of 2 kbit answers both addresses with the same bytes: the second table replaces the first.",
    in_a_swap: "A 4 kbit part is replaced by a 2 kbit part that ignores its address bits; it still answers everywhere.",
    safe_way: "A driver that knows the capacity refuses the second block before it sends anything; place both tables in \
               the 256 bytes that are there.",
    rules: &["B2"],
    from_outside: false,
    source: include_str!("block_alias.rs"),
    naive,
    safe,
};

const PART: &str = "24aa02";

fn program<I2C: I2c>(i2c: &mut I2C, delay: &mut impl DelayNs, first: &[u8], second: &[u8]) -> Result<(), I2C::Error> {
    for (device_address, table) in [(0x50, first), (0x51, second)] {
        let mut message = vec![0x40]; // word address of a table in its block
        message.extend_from_slice(table);
        i2c.write(device_address, &message)?;
        delay.delay_ms(10);
    }
    Ok(())
}

fn naive() -> Side {
    let (first, second) = (pattern(0x10, 8), pattern(0xA0, 8));
    let mut stage = Stage::new(PART);
    stage.meant(0x040, &first);
    stage.meant(0x140, &second);
    let result = program(&mut stage.rig.bus(), &mut stage.rig.delay(), &first, &second);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (first, second) = (pattern(0x10, 8), pattern(0xA0, 8));
    let mut stage = Stage::new(PART);
    let mut driver = stage.driver();
    let refused = driver.write(0x140, &second);
    stage.meant(0x40, &first);
    stage.meant(0x48, &second);
    let result = driver.write(0x40, &first).and_then(|()| driver.write(0x48, &second));
    stage.finish(format!("the second block: {}; both tables at 0x40: {}", said(&refused), said(&result)))
}

//! misplaced-write: a word address of the right width that is not the one that was meant.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "misplaced-write",
    hazard: Hazard::MisplacedWrite,
    title: "the word-address bytes are sent in the wrong order",
    story: "The program means 0x0102 and sends the low byte first. The part takes 0x0201: every call succeeds, the table \
            lies at another place, and what was there is gone.",
    in_a_swap: "A part with one word-address byte is replaced by one with two, and the second byte is added at the wrong end.",
    safe_way: "Send the most significant byte first; a driver that knows the part does. Read back from another offset than \
               the one just written: a program that swaps the bytes both ways never notices.",
    rules: &["B4"],
    from_outside: false,
    source: include_str!("misplaced_write.rs"),
    naive,
    safe,
};

const PART: &str = "at24c32e";

fn program<I2C: I2c>(i2c: &mut I2C, offset: u16, table: &[u8]) -> Result<(), I2C::Error> {
    let mut message = offset.to_le_bytes().to_vec(); // word address, low byte first
    message.extend_from_slice(table);
    i2c.write(0x50, &message)
}

fn naive() -> Side {
    let mut stage = Stage::new(PART);
    let table = pattern(0xC0, 8);
    stage.meant(0x0102, &table);
    let result = program(&mut stage.rig.bus(), 0x0102, &table);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let mut stage = Stage::new(PART);
    let table = pattern(0xC0, 8);
    stage.meant(0x0102, &table);
    let mut driver = stage.driver();
    let result = driver.write(0x0102, &table);
    stage.finish(said(&result))
}

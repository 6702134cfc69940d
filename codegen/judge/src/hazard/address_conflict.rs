//! address-conflict: two devices answer one address.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "address-conflict",
    hazard: Hazard::AddressConflict,
    title: "the part answers an address of another device",
    story: "A part of 16 kbit answers all eight addresses 0x50 to 0x57 with its blocks; another device lives at 0x53. Reads \
            of block 3 are the wired AND of both.",
    in_a_swap: "The old part answered one address only; the new one takes all eight, whatever the straps.",
    safe_way: "No software helps. The swap check refuses the part on this board; a part that compares its pins answers \
               one address and leaves 0x53 alone (here with two word-address bytes).",
    rules: &["B2", "B6"],
    from_outside: false,
    source: include_str!("address_conflict.rs"),
    naive,
    safe,
};

const AT: u32 = 0x310;

fn program<I2C: I2c>(i2c: &mut I2C, delay: &mut impl DelayNs, table: &mut [u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x10]; // in block 3
    message.extend_from_slice(table);
    i2c.write(0x53, &message)?;
    delay.delay_ms(5);
    i2c.write_read(0x53, &[0x10], table)
}

fn stage(part: &str) -> (Stage, Vec<u8>) {
    let mut stage = Stage::new(part);
    stage.rig.attach_other(0x53, "temperature sensor");
    let table = pattern(0x61, 8);
    stage.meant(AT, &table);
    (stage, table)
}

fn naive() -> Side {
    let (mut stage, table) = stage("24lc16b");
    let mut got = table.clone();
    let result = program(&mut stage.rig.bus(), &mut stage.rig.delay(), &mut got);
    stage.has_read(AT, &table, Some(&got));
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (mut stage, table) = stage("at24c32e");
    let mut got = vec![0; table.len()];
    let mut driver = stage.driver();
    let result = driver.write(AT, &table).and_then(|()| driver.read(AT, &mut got));
    stage.has_read(AT, &table, Some(&got));
    stage.finish(said(&result))
}

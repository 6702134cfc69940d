//! read-rollover: one sequential read across a block end.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "read-rollover",
    hazard: Hazard::ReadRollover,
    title: "a read across a block end returns bytes of another place",
    story: "The program reads 32 bytes at 0x0FFF0 in one sequential read. The part counts inside blocks of 65536 bytes: \
            the second half of the read comes from 0x00000.",
    in_a_swap: "The old 1 Mbit part read on through its whole array; the new one keeps to its two blocks.",
    safe_way: "Cut every read at the block ends of the part, and send the address anew.",
    rules: &["R3"],
    from_outside: false,
    source: include_str!("read_rollover.rs"),
    naive,
    safe,
};

const AT: u32 = 0xFFF0;

fn program<I2C: I2c>(i2c: &mut I2C, table: &mut [u8]) -> Result<(), I2C::Error> {
    i2c.write_read(0x50, &[0xFF, 0xF0], table)
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new("24lc1026");
    let table = pattern(0x80, 32);
    stage.holds(AT, &table);
    (stage, table)
}

fn naive() -> Side {
    let (mut stage, table) = stage();
    let mut got = [0; 32];
    let result = program(&mut stage.rig.bus(), &mut got);
    stage.has_read(AT, &table, Some(&got));
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (mut stage, table) = stage();
    let mut got = [0; 32];
    let result = stage.driver().read(AT, &mut got);
    stage.has_read(AT, &table, Some(&got));
    stage.finish(said(&result))
}

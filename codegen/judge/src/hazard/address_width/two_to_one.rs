//! address-width: two word-address bytes sent to a part that expects one.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use crate::hazard::stage::{Stage, pattern, said};
use crate::hazard::{Demonstration, Side};

pub(in crate::hazard) const DEMONSTRATION: Demonstration = Demonstration {
    name: "address-width-long",
    hazard: Hazard::AddressWidth,
    title: "two word-address bytes sent to a part that expects one",
    story: "The program sends 0x00 0x20 as word address and eight bytes of data. The part expects one byte: it goes to \
            0x00, stores the 0x20 there as data and the eight bytes after it, on top of what was stored.",
    in_a_swap: "A two-byte part is replaced by one of up to 16 kbit, because the board used little of it.",
    safe_way: "Take the number of word-address bytes from the part's card, not from the old firmware.",
    rules: &["B4", "W2"],
    from_outside: false,
    source: include_str!("two_to_one.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x00, 0x20]; // word address of the serial number
    message.extend_from_slice(serial);
    i2c.write(0x50, &message)
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new("24lc16b");
    let serial = pattern(0x41, 8);
    stage.holds(0x00, &pattern(0x01, 16));
    stage.meant(0x20, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (stage, serial) = stage();
    let result = program(&mut stage.rig.bus(), &serial);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, serial) = stage();
    let result = stage.driver().write(0x20, &serial);
    stage.finish(said(&result))
}

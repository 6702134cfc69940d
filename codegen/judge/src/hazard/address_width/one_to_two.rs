//! address-width: one word-address byte sent to a part that expects two.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use crate::hazard::stage::{Stage, pattern, said};
use crate::hazard::{Demonstration, Side};

pub(in crate::hazard) const DEMONSTRATION: Demonstration = Demonstration {
    name: "address-width-short",
    hazard: Hazard::AddressWidth,
    title: "one word-address byte sent to a part that expects two",
    story: "The program sends one word-address byte and eight bytes of data. The part expects two: the first data byte \
            becomes the low half of the word address, and the other seven land far away.",
    in_a_swap: "A part of up to 16 kbit is replaced by a larger one, which counts its word address in two bytes.",
    safe_way: "Take the number of word-address bytes from the part's card, not from the old firmware.",
    rules: &["B4", "W2"],
    from_outside: false,
    source: include_str!("one_to_two.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x08]; // word address of the serial number
    message.extend_from_slice(serial);
    i2c.write(0x50, &message)
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new("at24c32e");
    let serial = pattern(0x41, 8);
    stage.meant(0x08, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (stage, serial) = stage();
    let result = program(&mut stage.rig.bus(), &serial);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, serial) = stage();
    let result = stage.driver().write(0x08, &serial);
    stage.finish(said(&result))
}

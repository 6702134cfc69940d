//! bus-timing: pull-ups too weak for the capacitance of the bus.

use embedded_hal::i2c::I2c;
use pagewise_driver::{Eeprom, Options};
use pagewise_simulator::{Hazard, WireConfig};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "bus-timing",
    hazard: Hazard::BusTiming,
    title: "set-up, hold or rise time outside what part and bus allow",
    story: "Pull-ups of 10 kilohm charge 91 pF so slowly that SCL is high for 29 ns of each clock: shorter than what the \
            part filters as a spike. It sees no clock at all, and nobody looks at the error.",
    in_a_swap: "The new package sits at the end of a cable, or brings a second device: more capacitance on the same \
                pull-ups.",
    safe_way: "Pull-ups from the rise time (`pagewise budget` computes the window), or a slower SCL.",
    rules: &["L1", "L3", "L4"],
    from_outside: false,
    source: include_str!("bus_timing.rs"),
    naive,
    safe,
};

const AT: u32 = 0x20;

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    let _ = i2c.write(0x50, &message);
}

fn lines(pull_up_ohm: u32) -> WireConfig {
    WireConfig { pull_up_ohm, capacitance_pf: 91, ..WireConfig::TYPICAL }
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new("24lc32a");
    let serial = pattern(0x71, 8);
    stage.meant(AT, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (stage, serial) = stage();
    program(&mut stage.rig.bit_bang(lines(10_000)), &serial);
    stage.finish("errors were not looked at".into())
}

fn safe() -> Side {
    let (stage, serial) = stage();
    let bus = stage.rig.bit_bang(lines(2_200));
    let mut driver = Eeprom::<_, _, 260>::new(bus, stage.rig.delay(), stage.geometry, Options::new());
    let result = driver.write_verified(AT, &serial);
    stage.finish(format!("with 2.2 kilohm: {}", said(&result)))
}

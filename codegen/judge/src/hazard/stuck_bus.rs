//! stuck-bus: the controller was reset in the middle of a read.

use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "stuck-bus",
    hazard: Hazard::StuckBus,
    title: "after a reset in mid-read the part holds SDA low",
    story: "A watchdog resets the controller while the part sends a 0. The part waits for clocks with SDA low; the new run of \
            the program can send no START, and nobody looks at the error.",
    in_a_swap: "Any part does it; a part that shares a reset line or has a bus time-out hid it before.",
    safe_way: "Before the first transfer after a reset: nine clocks with SDA released, START, STOP.",
    rules: &["R1", "L5"],
    from_outside: true,
    source: include_str!("stuck_bus.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, entry: &[u8]) {
    let mut message = vec![0x00, 0x80];
    message.extend_from_slice(entry);
    let _ = i2c.write(0x50, &message);
}

/// The read before the reset stops at a 0 bit.
fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new("at24c32e");
    stage.holds(0x00, &[0x00; 16]);
    let entry = pattern(0xC1, 8);
    stage.meant(0x80, &entry);
    // The reset comes in the middle: what the read would have returned is of no interest.
    let _ = stage.rig.bus().interrupted_read(0x50, &[0x00, 0x00], 1, 3);
    (stage, entry)
}

fn naive() -> Side {
    let (stage, entry) = stage();
    program(&mut stage.rig.bus(), &entry);
    stage.finish("errors were not looked at".into())
}

fn safe() -> Side {
    let (stage, entry) = stage();
    stage.rig.bus().recover();
    let result = stage.driver().write_verified(0x80, &entry);
    stage.finish(format!("nine clocks, START, STOP; then {}", said(&result)))
}

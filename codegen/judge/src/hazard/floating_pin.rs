//! floating-pin: an address pin that nobody connected.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, Level, RigConfig, Straps};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "floating-pin",
    hazard: Hazard::FloatingPin,
    title: "an open address pin reads high, the part answers elsewhere",
    story: "A0 is not connected. At this power-up it reads high: the part answers at 0x51, nobody at 0x50. Nobody looks at \
            the error.",
    in_a_swap: "The old part pulled its pins low inside; the new one does not, and the board left them open.",
    safe_way: "Strap every pin. The driver reports a part that does not answer; it cannot strap a pin.",
    rules: &["B3", "B5"],
    from_outside: false,
    source: include_str!("floating_pin.rs"),
    naive,
    safe,
};

const PART: &str = "24lc32a";

fn program<I2C: I2c>(i2c: &mut I2C, serial: &[u8]) {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    let _ = i2c.write(0x50, &message);
}

/// A power-up at which the pin reads high, found by trying seeds.
fn unlucky() -> Stage {
    let straps = Straps { a: [Level::Open, Level::Low, Level::Low], ..Straps::GROUND };
    let reads_high = |seed: &u64| {
        let stage = Stage::with(PART, straps, RigConfig::default().with_seed(*seed));
        stage.rig.bus().write(0x51, &[0x00, 0x00]).is_ok()
    };
    let seed = (1..64).find(reads_high).unwrap_or(1);
    Stage::with(PART, straps, RigConfig::default().with_seed(seed))
}

fn naive() -> Side {
    let mut stage = unlucky();
    let serial = pattern(0x41, 8);
    stage.meant(0x20, &serial);
    program(&mut stage.rig.bus(), &serial);
    stage.finish("errors were not looked at".into())
}

fn safe() -> Side {
    let refused = unlucky().driver().write(0x20, &pattern(0x41, 8));
    let mut stage = Stage::new(PART);
    let serial = pattern(0x41, 8);
    stage.meant(0x20, &serial);
    let result = stage.driver().write_verified(0x20, &serial);
    stage.finish(format!("with A0 open: {}; with A0 at ground: {}", said(&refused), said(&result)))
}

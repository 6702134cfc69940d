//! write-protect: WP is high, and the part acknowledges all the same.

use std::convert::Infallible;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, OutputPin};
use embedded_hal::i2c::I2c;
use pagewise_driver::{Memory, Protected, WriteProtectTiming};
use pagewise_simulator::{ChipId, Hazard, Level, Rig, RigConfig, Straps};

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "write-protect",
    hazard: Hazard::WriteProtect,
    title: "WP is high: every byte is acknowledged, none is stored",
    story: "WP is tied to a pin that stands high. The part acknowledges address and data, and drops them at STOP. The \
            program sees success.",
    in_a_swap: "The old part had no WP pin, or protected only half of its array; the board's WP net never mattered.",
    safe_way: "Let the driver move WP around each write, and read back what was written.",
    rules: &["W8"],
    from_outside: false,
    source: include_str!("write_protect.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, delay: &mut impl DelayNs, serial: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x00, 0x20];
    message.extend_from_slice(serial);
    i2c.write(0x50, &message)?;
    delay.delay_ms(10);
    Ok(())
}

/// The controller's pin at WP.
struct WpPin {
    rig: Rig,
    chip: ChipId,
}

impl ErrorType for WpPin {
    type Error = Infallible;
}

impl OutputPin for WpPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.rig.set_wp(self.chip, Level::Low);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.rig.set_wp(self.chip, Level::High);
        Ok(())
    }
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::with("at24c32e", Straps::GROUND.with_wp(Level::High), RigConfig::default());
    let serial = pattern(0x41, 8);
    stage.meant(0x20, &serial);
    (stage, serial)
}

fn naive() -> Side {
    let (stage, serial) = stage();
    let result = program(&mut stage.rig.bus(), &mut stage.rig.delay(), &serial);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, serial) = stage();
    let pin = WpPin { rig: stage.rig.clone(), chip: stage.chip };
    let result = Protected::new(stage.driver(), pin, WriteProtectTiming::new())
        .and_then(|mut driver| driver.write_verified(0x20, &serial));
    stage.finish(said(&result))
}

//! torn-write: the supply goes inside the write cycle.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, TornModel};

use super::stage::{Driver, Stage};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "torn-write",
    hazard: Hazard::TornWrite,
    title: "the supply goes inside the write cycle and tears the page",
    story: "The program replaces its settings in place. The supply is lost in the middle of the write cycle: afterwards \
            some bits are old, some erased, some new.",
    in_a_swap: "The new part has a longer write cycle, or erases its whole page first: the same cut hits more often and \
                more bytes.",
    safe_way: "Never overwrite the only good copy: write to a spare page with a number and a check byte, and at start take \
               the newest copy that checks.",
    rules: &["P3"],
    from_outside: true,
    source: include_str!("torn_write.rs"),
    naive,
    safe,
};

const OLD: [u8; 8] = [0x11, 0x12, 0x13, 0x14, 0x15, 0x16, 0x17, 0x18];
const NEW: [u8; 8] = [0xA1, 0xA2, 0xA3, 0xA4, 0xA5, 0xA6, 0xA7, 0xA8];
/// Where the two copies of the safe way lie: pages of their own.
const COPIES: [u32; 2] = [0x40, 0x60];

fn program<I2C: I2c>(i2c: &mut I2C, settings: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x00, 0x40];
    message.extend_from_slice(settings);
    i2c.write(0x50, &message)
}

fn stage() -> Stage {
    let stage = Stage::new("at24c32e");
    stage.rig.set_torn_model(TornModel::ErasedThenProgrammed, 7);
    stage
}

/// Two milliseconds into the write cycle of five.
fn cut(stage: &Stage) {
    stage.rig.advance_ns(2_000_000);
    stage.rig.power_cycle();
}

fn naive() -> Side {
    let mut stage = stage();
    stage.rig.load(stage.chip, COPIES[0], &OLD);
    let _ = program(&mut stage.rig.bus(), &NEW);
    cut(&stage);
    let mut got = [0; 8];
    let _ = stage.driver().read(COPIES[0], &mut got);
    // Old or new would both be well; the new ones are shown.
    let right = if got == OLD { OLD } else { NEW };
    stage.has_read(COPIES[0], &right, Some(&got));
    stage.finish("after the next start: settings that are neither the old nor the new ones".into())
}

/// A copy: number, settings, check byte.
fn copy(number: u8, settings: &[u8; 8]) -> Vec<u8> {
    let mut copy = vec![number];
    copy.extend_from_slice(settings);
    copy.push(copy.iter().fold(0x5A, |sum: u8, byte| sum.rotate_left(1) ^ byte));
    copy
}

/// The newest copy that checks: its number, place and settings.
fn newest(driver: &mut Driver) -> Option<(u8, u32, [u8; 8])> {
    let mut good = Vec::new();
    for at in COPIES {
        let mut got = [0; 10];
        driver.read(at, &mut got).ok()?;
        let settings: [u8; 8] = got[1..9].try_into().ok()?;
        if got[..] == copy(got[0], &settings)[..] {
            good.push((got[0], at, settings));
        }
    }
    good.into_iter().max()
}

fn safe() -> Side {
    let mut stage = stage();
    stage.rig.load(stage.chip, COPIES[0], &copy(1, &OLD));
    let options = pagewise_driver::Options::new().with_lazy(true);
    let mut driver: Driver = pagewise_driver::Eeprom::new(stage.rig.bus(), stage.rig.delay(), stage.geometry, options);
    let _ = driver.write(COPIES[1], &copy(2, &NEW));
    cut(&stage);
    let found = newest(&mut stage.driver());
    let settings = found.map(|(_, _, settings)| settings);
    let right = if settings == Some(NEW) { NEW } else { OLD };
    stage.has_read(COPIES[0] + 1, &right, settings.as_ref().map(|settings| &settings[..]));
    let which = if settings == Some(NEW) { "new" } else { "old" };
    stage.finish(format!("after the next start: the {which} settings, whole"))
}

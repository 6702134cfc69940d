//! overclock: 400 kHz at a supply that allows 100 kHz.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{Hazard, RigConfig, Straps};

use super::stage::{Stage, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "overclock",
    hazard: Hazard::Overclock,
    title: "SCL is faster than the part's grade at this supply",
    story: "The bus runs at 400 kHz and 1.8 V. At this supply the part is good for 100 kHz: bits arrive late, and the \
            program reads other bytes than those stored.",
    in_a_swap: "The old part kept its speed down to the lowest supply; the new one has a second, slower grade there.",
    safe_way: "Slow SCL to the grade at the lowest supply of the board. No driver can see the fault in the bytes.",
    rules: &["P2"],
    from_outside: false,
    source: include_str!("overclock.rs"),
    naive,
    safe,
};

const AT: u32 = 0x20;
const TABLE: [u8; 32] = [0x5A; 32];

fn program<I2C: I2c>(i2c: &mut I2C, table: &mut [u8]) -> Result<(), I2C::Error> {
    i2c.write_read(0x50, &[0x00, 0x20], table)
}

fn stage(scl_hz: u32, seed: u64) -> Stage {
    let config = RigConfig::default().with_supply_mv(1800).with_scl_hz(scl_hz).with_seed(seed);
    let mut stage = Stage::with("24aa32a", Straps::GROUND, config);
    stage.rig.set_overclock_faults(true);
    stage.holds(AT, &TABLE);
    stage
}

/// A run in which the part hears its address, found by trying seeds: the worse case, since nothing reports an error.
fn naive() -> Side {
    let attempt = |seed| {
        let stage = stage(400_000, seed);
        let mut got = [0; TABLE.len()];
        let result = program(&mut stage.rig.bus(), &mut got);
        (stage, got, result)
    };
    let unnoticed = |seed: &u64| {
        let (stage, got, result) = attempt(*seed);
        result.is_ok() && got != TABLE && stage.rig.finish().iter().all(|one| one.hazard == Hazard::Overclock)
    };
    let (mut stage, got, result) = attempt((1..256).find(unnoticed).unwrap_or(1));
    stage.has_read(AT, &TABLE, Some(&got));
    stage.finish(said(&result))
}

fn safe() -> Side {
    let mut stage = stage(100_000, 1);
    let mut got = [0; TABLE.len()];
    let result = stage.driver().read(AT, &mut got);
    stage.has_read(AT, &TABLE, Some(&got));
    stage.finish(said(&result))
}

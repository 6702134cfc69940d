//! wear-out: a counter that always lives in the same place.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::Hazard;

use super::stage::{Stage, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "wear-out",
    hazard: Hazard::WearOut,
    title: "a counter kept in one place outlives its cells",
    story: "The program stores its counter at 0x0100 each time. Past the rated write cycles cells stick: the part \
            acknowledges and holds something else. (The run begins as if all but one of the rated cycles were used.)",
    in_a_swap: "The new part is rated for fewer write cycles, or wears by page where the old one wore by byte.",
    safe_way: "Spread the counter over a ring of places in pages of their own; each sees a share of the writes.",
    rules: &["P4"],
    from_outside: false,
    source: include_str!("wear_out.rs"),
    naive,
    safe,
};

/// Counter values stored in the run.
const COUNTS: u32 = 200;
/// Places of the ring.
const RING: u32 = 8;
const AT: u32 = 0x100;

fn program<I2C: I2c>(i2c: &mut I2C, delay: &mut impl DelayNs, count: u32) -> Result<(), I2C::Error> {
    let mut message = vec![0x01, 0x00];
    message.extend_from_slice(&count.to_le_bytes());
    i2c.write(0x50, &message)?;
    delay.delay_ms(5);
    Ok(())
}

fn naive() -> Side {
    let mut stage = Stage::new("at24c32e");
    for at in AT..AT + 4 {
        stage.rig.set_wear(stage.chip, at, stage.rated_cycles() - 1);
    }
    let mut result = Ok(());
    for count in 0..COUNTS {
        stage.meant(AT, &count.to_le_bytes());
        result = result.and(program(&mut stage.rig.bus(), &mut stage.rig.delay(), count));
    }
    stage.finish(said(&result))
}

fn safe() -> Side {
    let mut stage = Stage::new("at24c32e");
    let page = stage.geometry.page_bytes();
    let place = |count: u32| AT + count % RING * page;
    for count in 0..RING {
        for at in place(count)..place(count) + 4 {
            stage.rig.set_wear(stage.chip, at, stage.rated_cycles() / u64::from(RING));
        }
    }
    let mut driver = stage.driver();
    let mut result = Ok(());
    for count in 0..COUNTS {
        stage.meant(place(count), &count.to_le_bytes());
        result = result.and(driver.write_verified(place(count), &count.to_le_bytes()));
    }
    stage.finish(said(&result))
}

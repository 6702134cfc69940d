//! restart-abort: a bus layer that makes a repeated START of two writes.

use embedded_hal::i2c::{I2c, Operation};
use pagewise_driver::{Eeprom, Options};
use pagewise_simulator::{AdjacentWrites, Hazard, Quirks};

use super::stage::{Driver, Stage, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "restart-abort",
    hazard: Hazard::RestartAbort,
    title: "a repeated START between header and data misplaces data",
    story: "The program hands header and data to the bus as two writes of one transaction. This HAL sends a repeated \
            START between them: the part takes the first data bytes for a new word address and stores the rest there.",
    in_a_swap: "The controller or its HAL is swapped with the part; the old one joined the two writes.",
    safe_way: "Send header and data side by side in one write.",
    rules: &["W4", "B1"],
    from_outside: false,
    source: include_str!("restart_abort.rs"),
    naive,
    safe,
};

fn program<I2C: I2c>(i2c: &mut I2C, record: &[u8]) -> Result<(), I2C::Error> {
    let header = [0x00, 0x40];
    i2c.transaction(0x50, &mut [Operation::Write(&header), Operation::Write(record)])
}

fn stage() -> (Stage, [u8; 8]) {
    let mut stage = Stage::new("at24c32e");
    let record = [0x01, 0x08, 0xA3, 0xA4, 0xA5, 0xA6, 0xA7, 0xA8];
    stage.meant(0x40, &record);
    (stage, record)
}

fn naive() -> Side {
    let (stage, record) = stage();
    let result = program(&mut stage.rig.bus_with(hal()), &record);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, record) = stage();
    let mut driver: Driver = Eeprom::new(stage.rig.bus_with(hal()), stage.rig.delay(), stage.geometry, Options::new());
    let result = driver.write(0x40, &record);
    stage.finish(said(&result))
}

fn hal() -> Quirks {
    Quirks { adjacent_writes: AdjacentWrites::Restart, ..Quirks::default() }
}

//! page-wrap: a table is longer than what is left of the page.

use embedded_hal::i2c::I2c;
use pagewise_driver::Geometry;
use pagewise_simulator::Hazard;

use super::stage::{Stage, pattern, said};
use super::{Demonstration, Side};

pub(super) const DEMONSTRATION: Demonstration = Demonstration {
    name: "page-wrap",
    hazard: Hazard::PageWrap,
    title: "a write across a page end lands on its own beginning",
    story: "A calibration table of 48 bytes is written at 0x0010 in one transfer. The part latches one page of 32 bytes; \
            at its end the low address bits wrap, and the rest goes to the start of the same page. Every byte is \
            acknowledged.",
    in_a_swap: "The old part had a larger page, and the firmware's page size was never a setting.",
    safe_way: "Cut every write at the page ends of the part that is fitted; one write cycle per piece.",
    rules: &["W1", "W2"],
    from_outside: false,
    source: include_str!("page_wrap.rs"),
    naive,
    safe,
};

const PART: &str = "at24c32e";
const TABLE_AT: u32 = 0x10;

fn program<I2C: I2c>(i2c: &mut I2C, table: &[u8]) -> Result<(), I2C::Error> {
    let mut message = vec![0x00, 0x10]; // word address of the table
    message.extend_from_slice(table);
    i2c.write(0x50, &message)
}

fn stage() -> (Stage, Vec<u8>) {
    let mut stage = Stage::new(PART);
    let table = pattern(0x80, 48);
    stage.holds(0x00, &pattern(0x01, 16));
    stage.meant(TABLE_AT, &table);
    (stage, table)
}

fn naive() -> Side {
    let (stage, table) = stage();
    let result = program(&mut stage.rig.bus(), &table);
    stage.finish(said(&result))
}

fn safe() -> Side {
    let (stage, table) = stage();
    let result = stage.driver().write(TABLE_AT, &table);
    stage.finish(said(&result))
}

/// The safe run by a driver that takes the part's page for another size: it fails like the naive one if that is too
/// large.
///
/// # Panics
/// If `page_bytes` is not a page that a geometry accepts.
#[must_use]
pub fn safe_with_page(page_bytes: u32) -> Side {
    let (stage, table) = stage();
    let geometry = Geometry::new(stage.geometry.parameters().with_page_bytes(page_bytes));
    let result = stage.driver_of(geometry).write(TABLE_AT, &table);
    stage.finish(said(&result))
}

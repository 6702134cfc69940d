//! What all images share: a stub bus, the way stack is measured, and the part.
#![no_std]

mod bus;
mod stack;

use core::panic::PanicInfo;

use pagewise_driver::{Geometry, Lock, Parameters, Region, RegionAccess, RegionParameters};

pub use bus::{BusError, Script, StubBus, StubDelay, StubPin};
pub use stack::measure;

/// How the bus behaves while a program is measured: well, busy, failing, never answering again.
pub const SCRIPTS: [Script; 5] =
    [Script::new(1, 0, 0), Script::new(1, 3, 0), Script::new(3, 1, 1), Script::new(1, 2000, 0), Script::new(1, 0, 1)];

/// 32 kbit = 4096 bytes, 32-byte pages, two word-address bytes.
pub const PART: Geometry = Geometry::new(
    Parameters::new()
        .with_capacity_bytes(4096)
        .with_page_bytes(32)
        .with_word_address_bytes(2)
        .with_sequential_read_bytes(4096)
        .with_write_cycle_us(5_000),
);

/// An identification page that can be locked.
pub const IDENTIFICATION: Region = match Region::try_new(
    RegionParameters::new()
        .with_device_address(0x58)
        .with_word_address_bytes(2)
        .with_length_bytes(32)
        .with_page_bytes(32)
        .with_access(RegionAccess::Lockable(Lock::new(0x58, 0x0400, 0x02))),
) {
    Ok(region) => region,
    Err(error) => panic!("{}", error.message()),
};

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    stack::say(b"panicked\n\0");
    stack::exit(false)
}

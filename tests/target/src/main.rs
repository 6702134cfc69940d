//! Runs the seeded programs on a Cortex-M3 and prints the digest of each, a line per seed, through semihosting.
//!
//! Build and run with Debian's toolchain (packages rustc-web, cargo-web, rust-web-src, gcc-arm-none-eabi and
//! qemu-system-arm): `PATH=/usr/bin:$PATH RUSTC_BOOTSTRAP=1 cargo run --release` in this folder.
#![no_std]
#![no_main]

extern crate alloc;

mod program;
mod questions;

use alloc::string::ToString;
use core::mem::MaybeUninit;

use cortex_m_rt::entry;
use cortex_m_semihosting::{debug, hprintln};
use embedded_alloc::LlffHeap;
use pagewise_player::talk::Desk;
use panic_semihosting as _;

#[global_allocator]
static HEAP: LlffHeap = LlffHeap::empty();

const HEAP_BYTES: usize = 3 << 20;

#[entry]
fn main() -> ! {
    static mut MEMORY: [MaybeUninit<u8>; HEAP_BYTES] = [MaybeUninit::uninit(); HEAP_BYTES];
    // SAFETY: called once, before anything is allocated, with memory that nothing else uses.
    unsafe { HEAP.init(MEMORY.as_ptr() as usize, HEAP_BYTES) };
    for seed in 0..program::PROGRAMS {
        hprintln!("{} {:016x}", seed, program::digest(seed));
    }
    let mut desk = Desk::default();
    for question in questions::questions() {
        hprintln!("{}", questions::digest(&desk.ask(question.to_string().as_bytes())));
    }
    debug::exit(debug::EXIT_SUCCESS);
    loop {
        cortex_m::asm::wfi();
    }
}

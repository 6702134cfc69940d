//! Firmware that stores a calibration table in pages of 64 bytes, with acknowledge polling, and reads it back. It takes its
//! chip from its command line, so that the same image runs on every part:
//!
//!     pagewise trial --board meter.toml -- qemu-system-arm -cpu cortex-m3 -machine mps2-an385 -nographic \
//!         -semihosting-config enable=on,target=native,arg={door} -kernel writer
//!
//! Exit code: 0 stored, 1 lost, 2 no chip.
#![no_std]
#![no_main]

extern crate alloc;

use alloc::ffi::CString;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;
use core::mem::MaybeUninit;

use cortex_m_rt::entry;
use embedded_alloc::LlffHeap;
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_simulator::door::{Door, Files};
use panic_semihosting as _;
use semihosting::experimental::env;
use semihosting::fs::File;
use semihosting::io::{Read, Write};
use semihosting::{eprintln, process};

#[global_allocator]
static HEAP: LlffHeap = LlffHeap::empty();

const HEAP_BYTES: usize = 7 << 19;
const ADDRESS: u8 = 0x50;
const OFFSET: usize = 0x100;
const PAGE: usize = 64;

/// The files of the host, through semihosting.
#[derive(Debug)]
struct Host;

impl Files for Host {
    fn read(&self, path: &str) -> Result<Vec<u8>, String> {
        let mut file = File::open(name(path)?).map_err(|error| error.to_string())?;
        let mut bytes = vec![0; file.metadata().map_err(|error| error.to_string())?.len() as usize];
        file.read_exact(&mut bytes).map_err(|error| error.to_string())?;
        Ok(bytes)
    }

    fn append(&self, path: &str, text: &str) -> Result<(), String> {
        let file = File::options().write(true).create(true).append(true).open(name(path)?);
        file.and_then(|mut file| file.write_all(text.as_bytes())).map_err(|error| error.to_string())
    }
}

fn name(path: &str) -> Result<CString, String> {
    CString::new(path).map_err(|error| error.to_string())
}

fn door() -> Result<Door, String> {
    let words = env::args::<1024>().map_err(|error| error.to_string())?;
    let door = Door::from_command_line((&words).filter_map(Result::ok), Host).map_err(|error| error.to_string())?;
    door.ok_or_else(|| "the command line names no chip".to_string())
}

/// Stores the table and reads it back. Nothing in here knows that bus and delay are simulated.
fn is_stored(bus: &mut impl I2c, delay: &mut impl DelayNs, table: &[u8]) -> bool {
    for (number, page) in table.chunks(PAGE).enumerate() {
        let mut write = ((OFFSET + number * PAGE) as u16).to_be_bytes().to_vec();
        write.extend(page);
        if bus.write(ADDRESS, &write).is_err() {
            return false;
        }
        let mut polls = (0..100).map(|_| {
            delay.delay_us(500);
            bus.write(ADDRESS, &write[..2])
        });
        if !polls.any(|answer| answer.is_ok()) {
            return false;
        }
    }
    let mut back = vec![0; table.len()];
    bus.write_read(ADDRESS, &(OFFSET as u16).to_be_bytes(), &mut back).is_ok() && back == table
}

#[entry]
fn main() -> ! {
    static mut MEMORY: [MaybeUninit<u8>; HEAP_BYTES] = [MaybeUninit::uninit(); HEAP_BYTES];
    // SAFETY: called once, before anything is allocated, with memory that nothing else uses.
    unsafe { HEAP.init(MEMORY.as_ptr() as usize, HEAP_BYTES) };
    let door = door().unwrap_or_else(|reason| {
        eprintln!("{reason}");
        process::exit(2);
    });
    let table: Vec<u8> = (0..3 * PAGE).map(|at| ((7 * at + 5) % 251) as u8).collect();
    let stored = is_stored(&mut door.rig.bus(), &mut door.rig.delay(), &table);
    eprintln!("the table is {}", if stored { "stored" } else { "lost" });
    // Tells what was seen.
    drop(door);
    process::exit(i32::from(!stored));
}

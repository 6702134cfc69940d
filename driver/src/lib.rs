//! A careful driver for serial I2C EEPROMs of the 24 series, and for FRAMs that speak the same language.
//!
//! No heap, no `unsafe`, no panics, `no_std`. One planner decides what happens on the bus; the blocking driver
//! [`Eeprom`] and the async driver `AsyncEeprom` (feature `async`) carry it out.
//!
//! - Any length at any offset: writes are cut at page ends, reads where a part's sequential read stops, both at the
//!   HAL's longest transfer.
//! - All address shapes: one to three word-address bytes, block-select bits anywhere in the device address, and the
//!   part whose device address *is* the word address.
//! - Header and data of a page write go out in *one* contiguous write, so no HAL can put a START between them.
//! - Acknowledge polling, bounded by the part's write cycle; a fixed wait for HALs that cannot report a missing ACK.
//! - Errors say what happened and how many bytes are safe.
//!
//! # A first program
//!
//! ```toml
//! [dependencies]
//! pagewise-driver = "0.1" # features: async, defmt, io, learning, records, storage
//! embedded-hal = "1.0"
//! ```
//!
//! ```
//! # use embedded_hal_mock::eh1::delay::NoopDelay;
//! # use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
//! use pagewise_driver::{Eeprom, Geometry, Options, Parameters};
//!
//! // 32 kbit = 4096 bytes, 32-byte pages, two word-address bytes, 5 ms write cycle.
//! const PART: Geometry = Geometry::new(
//!     Parameters::new()
//!         .with_capacity_bytes(4096)
//!         .with_page_bytes(32)
//!         .with_word_address_bytes(2)
//!         .with_sequential_read_bytes(4096)
//!         .with_write_cycle_us(5_000),
//! );
//!
//! # let i2c = Mock::new(&[
//! #     Transaction::write(0x50, [&[0x01, 0x00], b"serial 0042".as_slice()].concat()),
//! #     Transaction::write(0x50, vec![0x01, 0x00]),
//! #     Transaction::write_read(0x50, vec![0x01, 0x00], b"serial 0042".to_vec()),
//! # ]);
//! # let delay = NoopDelay;
//! let mut eeprom = Eeprom::<_, _, { PART.buffer_bytes() }>::new(i2c, delay, PART, Options::new());
//! eeprom.write(0x0100, b"serial 0042")?;
//! let mut serial = [0; 11];
//! eeprom.read(0x0100, &mut serial)?;
//! # assert_eq!(serial, *b"serial 0042");
//! # eeprom.release().0.done();
//! # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
//! ```
//!
//! A geometry that contradicts itself does not compile. `i2c` and `delay` are what the HAL of your microcontroller calls its I2C
//! peripheral and its timer; both implement traits of `embedded-hal` 1.0. The numbers of the geometry stand in the part's data
//! sheet:
//!
//! | Setting of [`Parameters`] | In the data sheet |
//! |---|---|
//! | `with_capacity_bytes` | memory organisation; 32 kbit = 4096 bytes |
//! | `with_page_bytes` | page write; in doubt the smaller one; an FRAM has its capacity here |
//! | `with_word_address_bytes` | bytes between device address and data: usually one up to 16 kbit, two above |
//! | `with_device_address` | 7 bits, with the straps, block-select bits 0 (0x50, not 0xA0); unstated: 0x50 |
//! | `with_block_select_bits`, `with_block_select_shift` | word-address bits inside the device address, and the place of the lowest, 0 being next to R/W (16 kbit with one word-address byte: 3 at 0); unstated: none |
//! | `with_sequential_read_bytes` | where a sequential read rolls over; usually the capacity |
//! | `with_write_cycle_us` | longest write cycle (t_WR); 0 for an FRAM |
//!
//! What is not stated and has no usual value does not compile either. `pagewise generate` writes these lines for a part, with
//! the source of each value.
//!
//! # On the wire
//!
//! `S` START, `Sr` repeated START, `P` STOP, `A` ACK, `N` NACK. The word address has 0 to 3 bytes.
//!
//! ```text
//! page write             S  device+W A  word address A..  data A..  P
//! acknowledge polling    S  device+W A  word address A..  P                 (as often as it is not answered)
//!                        or the next access at the same device address, as often as it is not answered
//! random read            S  device+W A  word address A..  Sr  device+R A  data A..  data N  P
//! sequential read        the same, with more data
//! current address read   S  device+R A  data A..  data N  P
//! ```
//!
//! The methods say it with an example, a part with two word-address bytes at 0x50, bytes AB CD at offset 0x0123, and
//! write `+` for ACK and `-` for its absence: `S 50W+ 01+ 23+ Sr 50R+ AB+ CD- P`.
//!
//! A poll carries the word address and no data: it is never empty (many HALs cannot send nothing) and starts no write
//! cycle. It goes to the device address of the write it waits for, block-select bits included, since some parts
//! promise their NACK only there. A part without word-address bytes is polled by reading one byte.
//!
//! Between two pages at one device address no poll is sent: the next page write itself is tried until it is answered,
//! as data sheets describe it (and so is the reading back of a verified write). A busy part refuses its device address,
//! before any data, so on the wire a try that is refused is the same as a poll; the one that is answered saves the
//! poll.
//!
//! # Time
//!
//! `embedded-hal` has no clock, so waiting is counted in the pauses that the driver makes: it gives up when they add
//! up to the write cycle and the margin, or, with no pause between polls, after as many polls as would take that long
//! on a 1 MHz bus. Bus time comes on top, so the driver never gives up too early. No other loop waits for anything. A
//! NACK at an access (the part may be inside a write cycle from before a reset) leads to polling within the same bound
//! and *one* repetition.
//!
//! | Call | Waits at most |
//! |---|---|
//! | read, compare | once per access, if it is not answered |
//! | write, fill, write_verified | once per page, and once more per page that is not answered at first |
//! | update | as a read for each trusted page, and as a write for each page that is written |
//! | any call after a lazy, failed or dropped write | once more, at the beginning |
//!
//! # When supply is lost
//!
//! | Supply is lost | Then |
//! |---|---|
//! | in a read | nothing has changed |
//! | in a write, between two pages | pages before are stored, pages after are as they were |
//! | while a page is sent | that page is as it was (its write cycle has not begun) |
//! | in a page's write cycle | that page may hold old, new or other bytes, some of which may read differently each time; all other pages are as they should be |
//! | after the call has returned `Ok` | everything is stored (in lazy mode: except the last page, until the next call) |
//!
//! The last line takes for granted that the part has its supply as long as the processor has:
//!
//! - If the part alone loses it in a write cycle and is back before the polling ends, no driver can tell; if it is not
//!   back, the call fails. With [`Wait::Fixed`] nobody asks: the call returns `Ok` whether the part is there or not,
//!   unless the HAL reports a missing ACK of the write itself. `write_verified` reads back in both cases.
//! - A page that was cut *before* the start may read right now and wrong later. Reading cannot tell, and `read` and
//!   `compare` do not try. [`Memory::update`] therefore keeps only what its [`Trust`] vouches for and writes the rest;
//!   [`Memory::update_trusting`] keeps whatever reads right, for firmware that knows better.
//!
//! For values that must survive all of this there is the module `records` (feature `records`).
//!
//! # What an error means
//!
//! [`Error::safe_bytes`] counts the bytes, from the start of the request, that are known to be stored. The page behind
//! them is indeterminate after an overrun; after a bus error, so is the page after it, which may have been on its way
//! (the part takes it only when the one before is stored, but an error does not tell how far it came). Everything
//! behind these is as it was.
//!
//! Any `NoAcknowledge` counts as a missing ACK, whatever its source; `Other` only with [`Options::other_is_nack`]. No
//! other error is ever retried.
//!
//! # Features
//!
//! All additive: `async` (the async driver), `defmt` (`Format` for the data types), `storage` (traits of
//! `embedded-storage` and `embedded-storage-async`), `io` (traits of `embedded-io` and `embedded-io-async`), `learning` (waits that
//! learn how long the part takes, [`Options`]), `records`, `sources` (this crate's files
//! as text, for programs that write drivers). Rust 1.85 and later; with `storage` 1.87.
//!
//! # What is not supported
//!
//! - Bus sharing: give the driver a handle that shares, as `embedded-hal-bus` has them. Of two drivers for one part
//!   neither knows the other's writes, though each finds a busy part by its missing ACK.
//! - Ten-bit addresses, SMBus packet error codes, the write-protection registers of device code 0110.
//! - Asking whether a region is locked, or whether a write-protect pin is high: parts tell that only by a NACK in the
//!   middle of a write, which the HAL traits do not show. [`Memory::write_verified`] finds out the hard way.
//! - Splitting one page write over several bus calls: with [`Options::max_transfer_bytes`] smaller than header and page (or
//!   a smaller `BUF` and [`Options::with_split_pages`]) a page takes several write *cycles* instead, and wears as many times
//!   as fast.
#![no_std]
#![cfg_attr(docsrs, feature(doc_cfg))]
#![forbid(unsafe_code)]
#![warn(unreachable_pub)]

mod address;
#[cfg(feature = "async")]
mod asynch;
mod blocking;
mod chips;
mod choose;
mod chunk;
mod common;
mod error;
mod geometry;
#[cfg(feature = "io")]
mod io;
mod memory;
mod options;
pub mod plan;
mod protect;
#[cfg(feature = "records")]
pub mod records;
mod recovery;
mod region;
mod shell;
#[cfg(feature = "sources")]
pub mod sources;
#[cfg(feature = "storage")]
mod storage;
mod trust;

pub use address::{Header, Location};
#[cfg(feature = "async")]
pub use asynch::AsyncEeprom;
pub use blocking::Eeprom;
pub use chips::{Chips, ChipsError};
#[cfg(feature = "async")]
pub use choose::choose_async;
pub use choose::{Candidate, ChooseError, LongerHeader, choose};
pub use chunk::{Chunk, Chunks};
pub use common::CommonError;
pub use error::Error;
pub use geometry::{Geometry, GeometryError, Parameters};
#[cfg(feature = "io")]
pub use io::Cursor;
#[cfg(feature = "async")]
pub use memory::AsyncMemory;
pub use memory::{Extent, Memory};
pub use options::{Config, Options, Wait};
pub use plan::{Difference, Updated};
pub use protect::{Protected, WriteProtectTiming};
pub use recovery::{RecoveryError, free_bus};
pub use region::{InRegion, Irreversible, Lock, Region, RegionAccess, RegionParameters};
#[cfg(feature = "storage")]
pub use storage::{FlashLike, MultiwriteFlash};
pub use trust::Trust;

#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;

//! Finds out on a bus what a serial I2C EEPROM is: by reading only, or with leave to write into a scratch range.
//!
//! [`read_only`] asks who answers, how contents repeat, and how many word-address bytes there are where contents tell.
//! [`with_writes`] first copies the whole array to the disk under each number of word-address bytes that is still
//! possible ([`saved`]), then measures one property after the other and puts everything back; [`saved::restore`] does
//! that for a run that was killed. Each property ends as measured, not measured or not measurable here
//! ([`facts::Outcome`]): nothing is said that was not shown.
//!
//! The crate drives a bus of embedded-hal with a clock ([`probe::OverHal`]); the simulated bus, a Linux device and any
//! other adapter take the same path.
//!
//! # What a first write can do
//!
//! A message with one data byte behind `n` word-address bytes stores something in a part that takes `n` of them, and in
//! one that takes fewer; one that takes more sees an unfinished header. So numbers are tried from the smallest on, and
//! nothing is stored by a message before every array that it could change has been copied. What is written
//! is written to the one device address that is measured; software protection and locks lie at other ones.

#![forbid(unsafe_code)]

mod array;
mod bench;
pub mod compare;
mod cycle;
pub mod facts;
mod first_write;
mod line;
mod page;
pub mod place;
pub mod plan;
mod pointer;
pub mod probe;
pub mod protect;
mod read;
pub mod sample;
pub mod saved;

use std::path::Path;

use bench::Bench;
use facts::{Facts, Outcome};
use place::{Scratch, Window};
use probe::{Probe, Trouble};
use protect::Hand;
use read::Width;
use saved::Saved;

/// Where parts are looked for when nobody says where one is.
const USUAL: std::ops::RangeInclusive<u8> = 0x50..=0x57;

/// What may be written, and how often.
pub struct Leave<'l> {
    /// Bytes that may be written.
    pub scratch: Scratch,
    /// Folder of the copy, which must not exist or be empty.
    pub saved: &'l Path,
    /// Writes whose time is taken, of a byte and of a page each.
    pub writes: u32,
    /// Whoever can move the WP pin.
    pub hand: Option<&'l mut dyn Hand>,
}

/// What reading alone shows of the part at a device address, the lowest usual one that answers if none is named.
///
/// # Errors
/// Nobody answers there; the part stops answering; the bus cannot work.
pub fn read_only(probe: &mut Probe<'_>, address: Option<u8>) -> Result<Facts, Trouble> {
    Ok(look(probe, address, "by reading only nobody can tell; it takes --may-write")?.0)
}

fn look(probe: &mut Probe<'_>, address: Option<u8>, why: &str) -> Result<(Facts, Width), Trouble> {
    probe.say("asking every device address");
    let answers = read::scan(probe)?;
    let address = address.or_else(|| answers.iter().copied().find(|address| USUAL.contains(address)));
    let Some(address) = address.filter(|address| answers.contains(address)) else {
        let who = pagewise_line::look::listed(&answers);
        let who = if answers.is_empty() { "nobody answers anywhere".to_owned() } else { format!("{who} answers") };
        let where_ = address.map_or("0x50 to 0x57".to_owned(), |address| format!("0x{address:02X}"));
        return Err(Trouble::Part(format!("nobody answers at {where_} ({who})")));
    };
    let mut facts = Facts::none(address, answers.clone(), why);
    probe.say("reading on and on");
    facts.period = read::period(probe, address)?;
    probe.say("trying headers by reading");
    let width = read::width(probe, address, &answers)?;
    facts.width = match &width {
        Width::Shown(width) => Outcome::Measured(*width),
        Width::Open(open) if open.is_empty() => Outcome::not("the part does not read the same twice"),
        Width::Open(_) => Outcome::not("the contents look the same wherever they are read"),
    };
    Ok((facts, width))
}

/// Measures everything that can be, writing into the scratch range, and puts the contents back.
///
/// # Errors
/// As [`read_only`]; the copy cannot be written; the part does not take its contents back. Where the bus fails or
/// somebody stops the process, the copy is still there for [`saved::restore`].
pub fn with_writes(probe: &mut Probe<'_>, address: Option<u8>, leave: &mut Leave<'_>) -> Result<Facts, Trouble> {
    let why = "the part does not keep what is written into the scratch range";
    let (mut facts, width) = look(probe, address, why)?;
    if width == Width::Open(Vec::new()) {
        return Err(Trouble::Part(
            "the part does not read the same twice: check contacts and supply; nothing was written".into(),
        ));
    }
    let mut saved = Saved::begin(leave.saved, facts.address, leave.scratch)?;
    let width = first_write::width(probe, &mut saved, &facts, width, leave.scratch)?;
    let Some(width) = width else {
        probe.finishing = true;
        drop(saved);
        saved::restore(probe, leave.saved)?;
        let why = "a first write is not stored, whatever the number of word-address bytes: is WP tied active?";
        let Facts { address, answers, period, .. } = facts;
        return Ok(Facts { period, writes: probe.writes, ..Facts::none(address, answers, why) });
    };
    facts.width = Outcome::Measured(width);
    let measured = properties(probe, &mut saved, &mut facts, width, leave);
    if let Err(trouble @ Trouble::Bus(_)) = measured {
        return Err(trouble);
    }
    probe.say("putting the contents back");
    probe.finishing = true;
    saved.put_back(probe, width)?;
    measured?;
    facts.writes = probe.writes;
    Ok(facts)
}

fn properties(
    probe: &mut Probe<'_>,
    saved: &mut Saved,
    facts: &mut Facts,
    width: u8,
    leave: &mut Leave<'_>,
) -> Result<(), Trouble> {
    let Some((window, scratch)) = place(facts, width, leave.scratch) else {
        *facts = no_further(facts, "the eight addresses around the one that is measured do not all answer");
        return Ok(());
    };
    let answers = facts.answers.clone();
    let mut bench = Bench::new(probe, window, scratch, &answers);
    if !array::in_a_row(&mut bench)? {
        *facts = no_further(
            facts,
            "eight device addresses in a row are not eight bytes in a row: a longer write goes astray",
        );
        return Ok(());
    }
    bench.probe.say("size of the array");
    array::measure(&mut bench, facts)?;
    if let Some(capacity) = facts.capacity.value() {
        bench.scratch = bench.scratch.within(*capacity);
    }
    bench.probe.say("page");
    page::measure(&mut bench, facts)?;
    if let Some(facts::Page::Exactly(page)) = facts.page.value() {
        saved.page_is(*page)?;
    }
    bench.probe.say("write cycle");
    cycle::times(&mut bench, facts, leave.writes)?;
    cycle::answers(&mut bench, facts)?;
    bench.probe.say("pointer");
    pointer::after_write(&mut bench, facts)?;
    pointer::block_bits(&mut bench, facts)?;
    bench.probe.say("where a read comes back");
    pointer::read_wrap(&mut bench, facts)?;
    match leave.hand.as_deref_mut() {
        Some(hand) => protect::measure(&mut bench, facts, hand),
        None => {
            facts.protection = Outcome::not("the pin was not to be moved; it takes --wp-by-hand");
            Ok(())
        }
    }
}

/// What reading and a first write have shown; why nothing else was measured.
fn no_further(facts: &Facts, why: &str) -> Facts {
    let Facts { address, answers, period, width, .. } = facts.clone();
    Facts { period, width, ..Facts::none(address, answers, why) }
}

/// Where it is measured. Without word-address bytes: the eight addresses around the one that is measured.
fn place(facts: &Facts, width: u8, scratch: Scratch) -> Option<(Window, Scratch)> {
    let window = Window { device: facts.address, width };
    if width > 0 {
        return Some((window, scratch.within(window.bytes())));
    }
    let device = facts.address & !7;
    let all = (device..device + 8).all(|address| facts.answers.contains(&address));
    all.then_some((Window { device, width }, Scratch { start: 0, bytes: 8 }))
}

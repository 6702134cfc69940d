//! Why memory differs from what was meant: each lost byte is looked up in the writes that were tried.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::event::ChipId;
use crate::hazard::Hazard;
use crate::ledger::{Attempt, Ledger, Loss};

/// What became of one byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Fate {
    cause: Option<Hazard>,
    landed: Option<u32>,
    /// It arrived and was overwritten by bytes meant for another place, this far away.
    overwritten_by: Option<u32>,
    /// It was taken as part of the word address.
    taken_as_address: bool,
}

const UNKNOWN: Fate = Fate { cause: None, landed: None, overwritten_by: None, taken_as_address: false };

/// How the sender of a write may have understood its bytes.
struct Reading {
    /// Word-address bytes that the sender meant to send.
    header: usize,
    /// Where the sender meant the first data byte to go.
    offset: u32,
    /// What is wrong with this understanding; `None` if it is the part's own.
    mistake: Option<Hazard>,
}

/// A write and the ways to understand it.
type Try<'a> = (&'a Attempt, Vec<Reading>);

impl Ledger {
    /// Compares what was meant with the memory of each chip; looks at no more than `most` lost bytes of each.
    pub(crate) fn explain(&self, chips: &[Chip], most: usize) -> Vec<Loss> {
        let mut losses = Vec::new();
        for (index, chip) in chips.iter().enumerate() {
            let mut expected = BTreeMap::new();
            for (_, offset, bytes) in self.meant.iter().filter(|(chip, _, _)| *chip == index) {
                for (i, byte) in bytes.iter().enumerate() {
                    expected.insert(offset + i as u32, *byte);
                }
            }
            // Read once per write, not once per lost byte: a large part that lost everything asks for both.
            let mine = self.attempts.iter().filter(|attempt| attempt.chip == index);
            let tries: Vec<Try<'_>> = mine.map(|attempt| (attempt, readings(chip, attempt))).collect();
            let lost = expected.iter().filter(|&(&at, &byte)| at >= chip.model.capacity || chip.array.get(at) != byte);
            let fate = |at, byte| self.or_unseen(index, self.fate(&tries, chip, at, byte));
            let fates = lost.take(most).map(|(&at, &byte)| (at, fate(at, byte))).collect::<Vec<_>>();
            losses.extend(group(index, chip, &fates));
        }
        losses
    }

    /// No write was seen, but the chip refused somebody: a bit-banging controller stops after the device address, so that
    /// what it meant to write never shows.
    fn or_unseen(&self, index: usize, fate: Fate) -> Fate {
        if fate == UNKNOWN && self.refused_unseen.contains(&index) {
            return Fate { cause: Some(Hazard::BusyAccess), ..UNKNOWN };
        }
        fate
    }

    /// The latest write that meant this byte for this place, and what became of it.
    fn fate(&self, tries: &[Try<'_>], chip: &Chip, at: u32, byte: u8) -> Fate {
        // The part's own understanding first, over all writes; only then the mistaken ones.
        for mistaken in [false, true] {
            for (attempt, readings) in tries.iter().rev() {
                for reading in readings.iter().filter(|r| r.mistake.is_some() == mistaken) {
                    if let Some(fate) = reading.fate(chip, attempt, at, byte) {
                        return self.or_overwritten(tries, chip, at, byte, fate);
                    }
                }
            }
        }
        self.overwriter(tries, chip, at).unwrap_or(UNKNOWN)
    }

    fn or_overwritten(&self, tries: &[Try<'_>], chip: &Chip, at: u32, byte: u8, fate: Fate) -> Fate {
        // Stored where it was meant to be, and yet not there: somebody else came later.
        if fate.cause.is_none() && fate.landed == Some(at) && chip.array.get(at & (chip.model.capacity - 1)) != byte {
            return self.overwriter(tries, chip, at).unwrap_or(UNKNOWN);
        }
        fate
    }

    /// The latest write that landed on `at` although it was meant for another place.
    fn overwriter(&self, tries: &[Try<'_>], chip: &Chip, at: u32) -> Option<Fate> {
        let now = (at < chip.model.capacity).then(|| chip.array.get(at))?;
        for (attempt, readings) in tries.iter().rev().filter(|(attempt, _)| attempt.lost_to.is_none()) {
            let header = usize::from(chip.model.word_address_bytes);
            for (i, &byte) in attempt.raw.iter().enumerate().skip(header) {
                if byte == now && landing(chip, attempt, i) == Some(at) {
                    return self.blame(chip, attempt, readings, i, at);
                }
            }
        }
        None
    }

    fn blame(&self, chip: &Chip, attempt: &Attempt, readings: &[Reading], i: usize, at: u32) -> Option<Fate> {
        let own = readings.iter().find(|r| r.mistake.is_none())?;
        let meant = own.offset + (i - own.header) as u32;
        let cause = if meant != at { Some(cause_of_move(chip, own.offset, meant)) } else { None };
        if cause.is_some() {
            return Some(Fate { cause, overwritten_by: Some(meant), ..UNKNOWN });
        }
        // It went where the part understood it to go: was it meant for elsewhere under another understanding?
        let other = readings
            .iter()
            .filter(|r| r.mistake.is_some() && i >= r.header)
            .find(|r| self.means(attempt.chip, r.offset + (i - r.header) as u32, attempt.raw[i]))?;
        let meant = other.offset + (i - other.header) as u32;
        Some(Fate { cause: other.mistake, overwritten_by: Some(meant), ..UNKNOWN })
    }

    fn means(&self, chip: usize, at: u32, byte: u8) -> bool {
        self.meant
            .iter()
            .any(|(c, offset, bytes)| *c == chip && at >= *offset && bytes.get((at - offset) as usize) == Some(&byte))
    }
}

impl Reading {
    fn fate(&self, chip: &Chip, attempt: &Attempt, at: u32, byte: u8) -> Option<Fate> {
        let i = self.header + at.checked_sub(self.offset)? as usize;
        if attempt.raw.get(i) != Some(&byte) {
            return None;
        }
        if let Some(cause) = self.mistake.or(attempt.lost_to) {
            let header = usize::from(chip.model.word_address_bytes);
            let landed = if attempt.lost_to.is_some() { None } else { landing(chip, attempt, i) };
            return Some(Fate { cause: Some(cause), landed, taken_as_address: i < header, ..UNKNOWN });
        }
        let landed = landing(chip, attempt, i);
        let cause = if landed == Some(at) { None } else { Some(cause_of_move(chip, self.offset, at)) };
        Some(Fate { cause, landed, ..UNKNOWN })
    }
}

/// Why a byte meant for `meant` in a write to `first` went elsewhere.
fn cause_of_move(chip: &Chip, first: u32, meant: u32) -> Hazard {
    let page = chip.model.page;
    if chip.is_fram() || first & !(page - 1) == meant & !(page - 1) || first >= chip.model.capacity {
        Hazard::CapacityAlias
    } else {
        Hazard::PageWrap
    }
}

/// Where the part put byte `i` of a write; `None` if it took it as part of the word address.
fn landing(chip: &Chip, attempt: &Attempt, i: usize) -> Option<u32> {
    let header = usize::from(chip.model.word_address_bytes);
    let data = u32::try_from(i.checked_sub(header)?).ok()?;
    let (_, block) = chip.meant_by(attempt.control)?;
    let first = (block << (8 * header as u32) | number(&attempt.raw[..header])) & (chip.model.capacity - 1);
    if chip.is_fram() {
        return Some((first + data) & (chip.model.capacity - 1));
    }
    let page = chip.model.page;
    Some(first & !(page - 1) | (first + data) & (page - 1))
}

fn number(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |value, byte| value << 8 | u32::from(*byte))
}

/// The part's own understanding of a write, and the mistaken ones that a program may have.
fn readings(chip: &Chip, attempt: &Attempt) -> Vec<Reading> {
    let expects = usize::from(chip.model.word_address_bytes);
    let block = chip.meant_by(attempt.control).map_or(0, |(_, block)| block);
    let mut all = Vec::new();
    for header in (0..=3).filter(|&n| n <= attempt.raw.len()) {
        let value = number(&attempt.raw[..header]);
        let shift = 8 * header as u32;
        if header == expects {
            all.push(Reading { header, offset: block << shift | value, mistake: None });
            let ignored = chip.ignored_address_bits() & 0x07;
            let bits = u32::from(attempt.control >> 1 & ignored);
            if bits != 0 {
                all.push(Reading { header, offset: bits << shift | value, mistake: Some(Hazard::BlockAlias) });
            }
        } else if header > 0 {
            all.push(Reading { header, offset: value, mistake: Some(Hazard::AddressWidth) });
            let low = u32::from(attempt.control >> 1 & 0x07);
            if low != 0 && header < 3 {
                all.push(Reading { header, offset: low << shift | value, mistake: Some(Hazard::AddressWidth) });
            }
        }
    }
    all
}

/// Neighbours with the same fate become one loss.
fn group(index: usize, chip: &Chip, fates: &[(u32, Fate)]) -> Vec<Loss> {
    let mut losses = Vec::new();
    let mut from = 0;
    for i in 1..=fates.len() {
        let joins = i < fates.len() && follows(fates[i - 1], fates[i]);
        if !joins {
            losses.push(loss(index, chip, &fates[from..i]));
            from = i;
        }
    }
    losses
}

fn follows(a: (u32, Fate), b: (u32, Fate)) -> bool {
    let next = |place: Option<u32>| place.map(|at| at + 1);
    b.0 == a.0 + 1
        && b.1.cause == a.1.cause
        && b.1.landed == next(a.1.landed)
        && b.1.overwritten_by == next(a.1.overwritten_by)
        && b.1.taken_as_address == a.1.taken_as_address
}

fn loss(index: usize, chip: &Chip, fates: &[(u32, Fate)]) -> Loss {
    let (offset, fate) = fates[0];
    let len = fates.len() as u32;
    let what = if len == 1 { String::from("1 byte") } else { format!("{len} bytes") };
    let why = match fate.cause {
        Some(Hazard::PageWrap) => format!("page wrap at {}", chip.model.page),
        Some(Hazard::AddressWidth) => {
            format!("the part expects {} word-address byte(s), another number was sent", chip.model.word_address_bytes)
        }
        Some(Hazard::BlockAlias) => String::from("the part ignores these block-select bits"),
        Some(Hazard::CapacityAlias) => format!("the part ends at {} bytes", chip.model.capacity),
        Some(Hazard::BusyAccess) => String::from("the write came inside the write cycle and was not repeated"),
        Some(Hazard::RestartAbort) => String::from("a START before STOP dropped the latch"),
        Some(Hazard::WriteProtect) => String::from("write protected"),
        Some(Hazard::Undervoltage) => String::from("the supply is too low to write"),
        Some(Hazard::TornWrite) => String::from("the supply was lost inside the write cycle"),
        Some(other) => String::from(other.what()),
        None => String::from("no write for this place was seen on the bus"),
    };
    let text = if let Some(meant) = fate.overwritten_by {
        format!("{what} at 0x{offset:04X} overwritten by bytes meant for 0x{meant:04X}: {why}")
    } else if let Some(landed) = fate.landed {
        format!("{what} meant for 0x{offset:04X} landed at 0x{landed:04X}: {why}")
    } else if fate.taken_as_address {
        format!("{what} meant for 0x{offset:04X} taken as word address: {why}")
    } else {
        format!("{what} meant for 0x{offset:04X} not stored: {why}")
    };
    Loss { chip: ChipId(index), offset, len, landed_at: fate.landed, cause: fate.cause, text }
}

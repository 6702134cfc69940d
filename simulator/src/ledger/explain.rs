//! Why memory differs from what was meant: each lost byte is looked up in the writes that were tried.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::event::ChipId;
use crate::hazard::Hazard;
use crate::ledger::expected::Expected;
use crate::ledger::places::{BUCKET_BITS, Places};
use crate::ledger::reading::{Reading, landing, readings};
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

impl Ledger {
    /// Compares what was meant with the memory of each chip; looks at no more than `most` lost bytes of each.
    pub(crate) fn explain(&self, chips: &[Chip], most: usize) -> Vec<Loss> {
        self.explain_by(chips, most, BUCKET_BITS)
    }

    /// The same with writes filed in buckets of another width.
    pub(super) fn explain_by(&self, chips: &[Chip], most: usize, bucket_bits: u32) -> Vec<Loss> {
        let mut losses = Vec::new();
        for (index, chip) in chips.iter().enumerate() {
            let lost = self.lost(index, chip, most);
            if lost.is_empty() {
                continue;
            }
            let places = Places::new(self, index, chip, bucket_bits);
            let fate = |at, byte| self.or_unseen(index, places.fate(at, byte));
            let fates = lost.into_iter().map(|(at, byte)| (at, fate(at, byte))).collect::<Vec<_>>();
            losses.extend(group(index, chip, &fates));
        }
        losses
    }

    /// The first of the losses that [`Ledger::explain`] finds, without looking at the others.
    pub(crate) fn first_loss(&self, chips: &[Chip], most: usize) -> Option<Loss> {
        chips.iter().enumerate().find_map(|(index, chip)| {
            let lost = self.lost(index, chip, most);
            if lost.is_empty() {
                return None;
            }
            let places = Places::new(self, index, chip, BUCKET_BITS);
            let mut fates: Vec<(u32, Fate)> = Vec::new();
            for (at, byte) in lost {
                let fate = (at, self.or_unseen(index, places.fate(at, byte)));
                if fates.last().is_some_and(|last| !follows(*last, fate)) {
                    break;
                }
                fates.push(fate);
            }
            Some(loss(index, chip, &fates))
        })
    }

    /// The first `most` bytes that are not where they were meant to be, with what they should be.
    fn lost(&self, index: usize, chip: &Chip, most: usize) -> Vec<(u32, u8)> {
        let mut expected = Expected::default();
        for (_, offset, bytes) in self.meant.iter().filter(|(chip, _, _)| *chip == index) {
            expected.mean(*offset, bytes);
        }
        let lost = |&(at, byte): &(u32, u8)| at >= chip.model.capacity || chip.array.get(at) != byte;
        expected.bytes().filter(lost).take(most).collect()
    }

    /// No write was seen, but the chip refused somebody: a bit-banging controller stops after the device address, so that
    /// what it meant to write never shows.
    fn or_unseen(&self, index: usize, fate: Fate) -> Fate {
        if fate == UNKNOWN && self.refused_unseen.contains(&index) {
            return Fate { cause: Some(Hazard::BusyAccess), ..UNKNOWN };
        }
        fate
    }
}

impl Places<'_> {
    /// The latest write that meant this byte for this place, and what became of it.
    fn fate(&self, at: u32, byte: u8) -> Fate {
        // What was surely meant first; then the part's own understanding, over all writes; only then the mistaken ones.
        for (attempt, reading) in self.sure_at(at).chain(self.own_at(at)).chain(self.mistaken_at(at)) {
            if let Some(fate) = reading.fate(self.chip, attempt, at, byte) {
                return self.or_overwritten(at, fate);
            }
        }
        let elsewhere = || self.misplaced(at, byte).map(|landed| Fate { landed: Some(landed), ..UNKNOWN });
        self.overwriter(at).or_else(elsewhere).unwrap_or(UNKNOWN)
    }

    fn or_overwritten(&self, at: u32, fate: Fate) -> Fate {
        // Stored where it was meant to be, and yet not there: somebody else came later.
        if fate.cause.is_none() { self.overwriter(at).unwrap_or(UNKNOWN) } else { fate }
    }

    /// The latest write that landed on `at` although it was meant for another place.
    fn overwriter(&self, at: u32) -> Option<Fate> {
        let (attempt, i) = self.last_landed(at)?;
        let readings = readings(self.chip, attempt);
        let own = readings.iter().find(|r| r.mistake.is_none())?;
        let meant = own.offset + (i - own.header) as u32;
        if meant != at {
            let cause = Some(cause_of_move(self.chip, own.offset));
            return Some(Fate { cause, overwritten_by: Some(meant), ..UNKNOWN });
        }
        // It went where the part understood it to go: was it meant for elsewhere under another understanding?
        let other = readings
            .iter()
            .filter(|r| r.mistake.is_some() && i >= r.header)
            .find(|r| self.means(r.offset + (i - r.header) as u32, attempt.raw[i]))?;
        let meant = other.offset + (i - other.header) as u32;
        Some(Fate { cause: other.mistake, overwritten_by: Some(meant), ..UNKNOWN })
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
        let cause = if landed == Some(at) { None } else { Some(cause_of_move(chip, self.offset)) };
        Some(Fate { cause, landed, ..UNKNOWN })
    }
}

/// Why a byte of a write to `first` went elsewhere.
fn cause_of_move(chip: &Chip, first: u32) -> Hazard {
    if chip.is_fram() || first >= chip.model.capacity { Hazard::CapacityAlias } else { Hazard::PageWrap }
}

/// What is wrong with a word address of the right width.
fn wrong_address(meant: u32, landed: u32) -> String {
    if landed == u32::from((meant as u16).swap_bytes()) && meant < 0x1_0000 {
        String::from("the two word-address bytes were sent in the wrong order")
    } else if landed == meant + 1 || landed + 1 == meant {
        String::from("the word address that was sent is off by one")
    } else {
        String::from("another word address was sent")
    }
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
        None => match fate.landed {
            Some(landed) => wrong_address(offset, landed),
            None => String::from("no write for this place was seen on the bus"),
        },
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

//! The ledger: what a program meant to store, and why memory differs.

mod expected;
mod explain;
mod places;
mod reading;

use alloc::collections::{BTreeSet, VecDeque};
use alloc::string::String;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::chip::registers::Target;
use crate::event::{ChipId, Note};
use crate::hazard::Hazard;
use crate::segment::Segment;

/// Writes that are remembered; older ones fall out.
const KEPT_WRITES: usize = 8192;

/// Bytes that are not where they were meant to be.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Loss {
    /// The chip that should hold them.
    pub chip: ChipId,
    /// Where the first of them was meant to be.
    pub offset: u32,
    /// How many.
    pub len: u32,
    /// Where the first of them went instead, if it is known.
    pub landed_at: Option<u32>,
    /// Why, if it is known.
    pub cause: Option<Hazard>,
    /// The same in words: `32 bytes meant for 0x0030 landed at 0x0020: page wrap at 32`.
    pub text: String,
}

/// A write as it went over the bus to one chip, or as it was refused.
#[derive(Debug, Clone)]
pub(crate) struct Attempt {
    pub(crate) chip: usize,
    pub(crate) control: u8,
    /// Bytes after the device address.
    pub(crate) raw: Vec<u8>,
    /// Why none of it was stored, where that is so.
    pub(crate) lost_to: Option<Hazard>,
}

/// Meant contents and the writes that were tried.
#[derive(Debug, Clone, Default)]
pub(crate) struct Ledger {
    pub(crate) meant: Vec<(usize, u32, Vec<u8>)>,
    pub(crate) attempts: VecDeque<Attempt>,
    /// Chips that refused an access while busy, where nobody can say what it was meant to write (wire level).
    pub(crate) refused_unseen: BTreeSet<usize>,
}

impl Ledger {
    pub(crate) fn mean(&mut self, chip: usize, offset: u32, bytes: &[u8]) {
        self.meant.push((chip, offset, bytes.to_vec()));
    }

    /// The supply was lost inside the write cycle of the last write.
    pub(crate) fn hear(&mut self, chip: usize, note: Note) {
        if let Note::Torn { .. } = note
            && let Some(last) = self.attempts.iter_mut().rev().find(|a| a.chip == chip && a.lost_to.is_none())
        {
            last.lost_to = Some(Hazard::TornWrite);
        }
    }

    /// A START or STOP ended this segment.
    pub(crate) fn ended(&mut self, segment: &Segment, chips: &[Chip]) {
        let Some(control) = segment.control else { return };
        if segment.raw.is_empty() {
            return;
        }
        let lost_to = segment.lost_to;
        // A bare header before a repeated START stores nothing, whatever the sender understood by it.
        let bare = |i: usize| segment.restarted && segment.raw.len() <= usize::from(chips[i].model.word_address_bytes);
        for &chip in segment.responders.iter().filter(|&&i| !matches!(chips[i].target, Target::Region(_)) && !bare(i)) {
            self.push(Attempt { chip, control, raw: segment.raw.clone(), lost_to });
        }
    }

    pub(crate) fn push(&mut self, attempt: Attempt) {
        if self.attempts.len() == KEPT_WRITES {
            self.attempts.pop_front();
        }
        self.attempts.push_back(attempt);
    }
}

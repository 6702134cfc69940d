//! How the sender of a write may have understood its bytes, and where the part put them.

use alloc::vec::Vec;

use crate::chip::Chip;
use crate::hazard::Hazard;
use crate::ledger::Attempt;

/// How the sender of a write may have understood its bytes.
pub(super) struct Reading {
    /// Word-address bytes that the sender meant to send.
    pub(super) header: usize,
    /// Where the sender meant the first data byte to go.
    pub(super) offset: u32,
    /// What is wrong with this understanding; `None` if it is the part's own.
    pub(super) mistake: Option<Hazard>,
}

/// The part's own understanding of a write, and the mistaken ones that a program may have.
pub(super) fn readings(chip: &Chip, attempt: &Attempt) -> Vec<Reading> {
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

/// Where the part puts the data bytes of a write: round and round in a circle of addresses, a page or a whole FRAM.
pub(super) struct Landing {
    /// First address of the circle.
    base: u32,
    /// Addresses in it, a power of two.
    room: u32,
    /// Where in it the first data byte goes.
    start: u32,
}

impl Landing {
    /// `None` if the part does not take the address or never got a whole word address.
    pub(super) fn of(chip: &Chip, attempt: &Attempt) -> Option<Self> {
        let header = usize::from(chip.model.word_address_bytes);
        let word_address = number(attempt.raw.get(..header)?);
        let (_, block) = chip.meant_by(attempt.control)?;
        let first = (block << (8 * header as u32) | word_address) & (chip.model.capacity - 1);
        let room = if chip.is_fram() { chip.model.capacity } else { chip.model.page };
        Some(Self { base: first & !(room - 1), room, start: first & (room - 1) })
    }

    /// Where a data byte goes; the first is number 0.
    pub(super) fn place(&self, data: u32) -> u32 {
        self.base | (self.start + data) & (self.room - 1)
    }

    /// The data bytes that go to `at`, without end.
    pub(super) fn data_at(&self, at: u32) -> Option<impl Iterator<Item = usize>> {
        let inside = at & !(self.room - 1) == self.base;
        inside
            .then(|| (at.wrapping_sub(self.start) & (self.room - 1)) as usize)
            .map(|n| (n..).step_by(self.room as usize))
    }

    /// First address and length of the stretches to which `len` data bytes go.
    pub(super) fn stretches(&self, len: usize) -> [(u32, usize); 2] {
        let (room, start) = (self.room as usize, self.start as usize);
        let len = len.min(room);
        let before_end = len.min(room - start);
        [(self.base | self.start, before_end), (self.base, len - before_end)]
    }
}

/// Where the part put byte `i` of a write; `None` if it took it as part of the word address.
pub(super) fn landing(chip: &Chip, attempt: &Attempt, i: usize) -> Option<u32> {
    let data = u32::try_from(i.checked_sub(usize::from(chip.model.word_address_bytes))?).ok()?;
    Landing::of(chip, attempt).map(|landing| landing.place(data))
}

fn number(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |value, byte| value << 8 | u32::from(*byte))
}

//! Faults inside a chip, laid over its pristine memory.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::vec::Vec;
use core::ops::Range;

use crate::chip::Chip;
use crate::chip::latch::Latch;
use crate::fault::{FaultKind, Ratio};

/// What happens to one write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CycleFault {
    /// It runs and changes nothing.
    Lie,
    /// It lasts this long.
    Lasts(u64),
}

/// The overlay of one chip.
#[derive(Debug, Clone, Default)]
pub(crate) struct Disturb {
    /// Bits that read differently each time.
    wavering: BTreeMap<u32, u8>,
    /// Bits flipped at rest.
    flipped: BTreeMap<u32, u8>,
    /// Bits that no longer change, by wear and by a script: mask and value.
    worn: BTreeMap<u32, (u8, u8)>,
    stuck: BTreeMap<u32, (u8, u8)>,
    /// Bits that are forgotten when the supply goes away.
    leaky: BTreeMap<u32, u8>,
    /// Faults of write cycles by their number, counted from 0.
    pub(crate) by_cycle: Vec<(u64, CycleFault)>,
    /// Share of pages whose writes do not stick, and whose cycles are twice as long; drawn per page.
    pub(crate) lie: Ratio,
    pub(crate) long: Ratio,
    pub(crate) seed: u64,
    cycles: u64,
    /// Faults that took effect, for the world to book.
    pub(crate) hits: Vec<FaultKind>,
}

impl Disturb {
    pub(crate) fn waver(&mut self, offset: u32, mask: u8) {
        if mask != 0 {
            *self.wavering.entry(offset).or_default() |= mask;
        }
    }

    pub(crate) fn flip(&mut self, offset: u32, mask: u8) {
        *self.flipped.entry(offset).or_default() ^= mask;
    }

    pub(crate) fn stick(&mut self, offset: u32, mask: u8, value: u8) {
        stick(&mut self.stuck, offset, mask, value);
    }

    pub(crate) fn leak(&mut self, offset: u32, mask: u8) {
        *self.leaky.entry(offset).or_default() |= mask;
    }

    /// Takes away what faults have laid over the memory; wear and torn bits stay.
    pub(crate) fn clear_faults(&mut self) {
        self.flipped.clear();
        self.stuck.clear();
        self.by_cycle.clear();
        (self.lie, self.long) = (Ratio::NEVER, Ratio::NEVER);
    }

    /// The overlay on a byte, without the bits that waver.
    pub(crate) fn over(&self, offset: u32, byte: u8) -> u8 {
        let byte = byte ^ self.flipped.get(&offset).copied().unwrap_or(0);
        [&self.worn, &self.stuck]
            .into_iter()
            .filter_map(|bits| bits.get(&offset))
            .fold(byte, |byte, (mask, value)| byte & !mask | value & mask)
    }

    /// Cells of a range that may read differently from the array, ascending.
    fn places(&self, range: Range<u32>) -> BTreeSet<u32> {
        let masks =
            [&self.wavering, &self.flipped].into_iter().flat_map(|bits| bits.range(range.clone()).map(|(at, _)| *at));
        let held = [&self.worn, &self.stuck].into_iter().flat_map(|bits| bits.range(range.clone()).map(|(at, _)| *at));
        masks.chain(held).collect()
    }

    fn is_clean(&self) -> bool {
        self.wavering.is_empty() && self.flipped.is_empty() && self.worn.is_empty() && self.stuck.is_empty()
    }
}

fn stick(bits: &mut BTreeMap<u32, (u8, u8)>, offset: u32, mask: u8, value: u8) {
    let (held, level) = bits.entry(offset).or_default();
    *level = *level & !mask | value & mask;
    *held |= mask;
}

impl Chip {
    /// The value of a cell as it reads now.
    pub(crate) fn cell(&mut self, offset: u32) -> u8 {
        let byte = self.array.get(offset);
        if self.disturb.is_clean() {
            return byte;
        }
        let mask = self.disturb.wavering.get(&offset).copied().unwrap_or(0);
        let noise = if mask == 0 { 0 } else { self.rng.byte() & mask };
        self.disturb.over(offset, byte) ^ noise
    }

    /// Makes of bytes of the array, beginning at this offset, what its cells read as now.
    pub(crate) fn lay_over(&mut self, from: u32, bytes: &mut [u8]) {
        if self.disturb.is_clean() {
            return;
        }
        for offset in self.disturb.places(from..from + bytes.len() as u32) {
            bytes[(offset - from) as usize] = self.cell(offset);
        }
    }

    /// Cells that were just programmed are fresh again.
    pub(crate) fn heal_written(&mut self) {
        let Self { disturb, programming, .. } = self;
        if disturb.is_clean() {
            return;
        }
        for (offset, _) in programming.bytes() {
            disturb.wavering.remove(&offset);
            disturb.flipped.remove(&offset);
        }
    }

    /// A write cycle begins: what these cells forget is decided anew by its own wear, not healed by its end.
    pub(crate) fn stop_leaking(&mut self, latch: &Latch) {
        if self.disturb.leaky.is_empty() {
            return;
        }
        for (offset, _) in latch.bytes() {
            self.disturb.leaky.remove(&offset);
        }
    }

    /// Cells that cannot hold their contents lose them with the supply: they read as erased.
    pub(crate) fn forget_leaky(&mut self) {
        for (offset, mask) in core::mem::take(&mut self.disturb.leaky) {
            let byte = self.array.get(offset);
            self.array.set(offset, byte | mask);
        }
    }

    /// Past its rating, a seeded share of cells sticks at its old value, or forgets.
    pub(crate) fn wear_cells(&mut self, offset: u32) {
        if self.rng.below(16) != 0 {
            return;
        }
        let mask = 1 << self.rng.below(8);
        if self.rng.level() {
            let value = self.array.get(offset);
            stick(&mut self.disturb.worn, offset, mask, value);
        } else {
            self.disturb.leak(offset, mask);
        }
    }

    /// Duration of a write cycle with faults, and whether it changes memory.
    pub(crate) fn faulty_cycle(&mut self, lasts: u64) -> (u64, bool) {
        let disturb = &mut self.disturb;
        let number = disturb.cycles;
        disturb.cycles += 1;
        let page = self.latch.page;
        let scripted = disturb.by_cycle.iter().find(|(at, _)| *at == number).map(|(_, fault)| *fault);
        let drawn = || {
            if disturb.lie.holds_at(disturb.seed, u64::from(page) << 1) {
                Some(CycleFault::Lie)
            } else if disturb.long.holds_at(disturb.seed, u64::from(page) << 1 | 1) {
                Some(CycleFault::Lasts(lasts.saturating_mul(2)))
            } else {
                None
            }
        };
        match scripted.or_else(drawn) {
            None => (lasts, true),
            Some(CycleFault::Lie) => {
                disturb.hits.push(FaultKind::WriteDoesNotStick);
                (lasts, false)
            }
            Some(CycleFault::Lasts(ns)) => {
                disturb.hits.push(FaultKind::LongCycle);
                (ns, true)
            }
        }
    }
}

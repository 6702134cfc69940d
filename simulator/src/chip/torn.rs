//! The supply is lost inside a write cycle: what is left of the bytes (rule P3).

use alloc::vec::Vec;

use crate::chip::Chip;
use crate::chip::registers::Target;
use crate::chip::running::Cycle;
use crate::event::Note;
use crate::model::TornScope;

/// What a torn write cycle leaves behind. No data sheet promises any of these; a program is safe if it survives all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TornModel {
    /// Every byte keeps its old value.
    #[default]
    Old,
    /// Every byte has its new value.
    New,
    /// The first bytes are new, the rest old; how many follows from how far the cycle was.
    Prefix,
    /// Each byte is old or new, drawn from the seed.
    Subset,
    /// In the first half of the cycle bits go to 1, in the second half from 1 to new; each bit is as far as drawn.
    ErasedThenProgrammed,
    /// Bits that were to change read differently each time, until the byte is written again.
    Unstable,
}

impl TornModel {
    /// Every model.
    pub const ALL: [Self; 6] =
        [Self::Old, Self::New, Self::Prefix, Self::Subset, Self::ErasedThenProgrammed, Self::Unstable];

    /// Name, as used in case ids.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Old => "old",
            Self::New => "new",
            Self::Prefix => "prefix",
            Self::Subset => "subset",
            Self::ErasedThenProgrammed => "erased",
            Self::Unstable => "unstable",
        }
    }
}

/// How far the cycle was, in 65536ths.
fn progress(cycle: Cycle, now: u64) -> u64 {
    let (done, whole) = (now.saturating_sub(cycle.starts_ns), cycle.ends_ns - cycle.starts_ns);
    if whole == 0 { 65_536 } else { (u128::from(done) * 65_536 / u128::from(whole)) as u64 }
}

impl Chip {
    /// Ends the running write cycle for want of supply.
    pub(crate) fn tear(&mut self, now: u64) {
        let Some(cycle) = self.cycle.take() else { return };
        if !cycle.sticks {
            return;
        }
        if cycle.target == Target::Security {
            // A register that was being set is set or not.
            if self.torn_model == TornModel::New {
                self.regions.secured = Some(self.regions.securing);
            }
            return;
        }
        if let Target::Region(region) = cycle.target {
            self.say(now, Note::Torn { offset: self.programming.page, bytes: self.programming.count() });
            self.tear_region(region, progress(cycle, now));
            return;
        }
        let danger = self.bytes_in_danger();
        if let (Some(first), Some(last)) = (danger.first(), danger.last()) {
            self.say(now, Note::Torn { offset: first.0, bytes: last.0 - first.0 + 1 });
        }
        self.leave_torn(&danger, progress(cycle, now));
    }

    /// Offset, old and new value of every byte that this cycle may damage, and whether it was latched.
    fn bytes_in_danger(&self) -> Vec<(u32, u8, u8, bool)> {
        let unit = match self.model.torn_scope {
            TornScope::Latched => 1,
            TornScope::Group(bytes) => bytes.max(1),
            TornScope::Page => self.programming.page_size(),
        };
        let mut danger: Vec<(u32, u8, u8, bool)> = Vec::new();
        let mut covered = 0;
        for (offset, byte) in self.programming.bytes() {
            let base = offset - offset % unit;
            for at in base.max(covered)..base + unit {
                let old = self.array.get(at);
                danger.push((at, old, old, false));
            }
            covered = covered.max(base + unit);
            if let Some(entry) = danger.iter_mut().rev().find(|entry| entry.0 == offset) {
                (entry.2, entry.3) = (byte, true);
            }
        }
        danger
    }

    fn leave_torn(&mut self, danger: &[(u32, u8, u8, bool)], progress: u64) {
        let whole = danger.len() as u64 * progress / 65_536;
        for (i, &(at, old, new, latched)) in danger.iter().enumerate() {
            if self.torn_model == TornModel::Unstable {
                // A byte that is only rewritten with the others wavers where it has to be programmed again.
                let mask = if latched { old ^ new } else { !old & self.torn_rng.byte() };
                self.disturb.waver(at, mask);
            }
            let byte = self.torn_byte(old, new, (i as u64) < whole, progress);
            self.array.set(at, byte);
        }
    }

    /// What is left of one byte; `reached` says whether the cycle had come to it, for the model of a prefix.
    fn torn_byte(&mut self, old: u8, new: u8, reached: bool, progress: u64) -> u8 {
        match self.torn_model {
            TornModel::Old | TornModel::Unstable => old,
            TornModel::New => new,
            TornModel::Prefix => [old, new][usize::from(reached)],
            TornModel::Subset => [old, new][usize::from(self.torn_rng.level())],
            TornModel::ErasedThenProgrammed if progress < 32_768 => old | self.drawn_bits(progress * 2),
            TornModel::ErasedThenProgrammed => new | !self.drawn_bits((progress - 32_768) * 2),
        }
    }

    /// Second regions: the latched bytes are in danger; a lock or protection that was being set is set or not.
    fn tear_region(&mut self, region: usize, progress: u64) {
        if self.torn_model == TornModel::New {
            return self.commit_region(region);
        }
        if self.regions.locking {
            return;
        }
        let bytes: Vec<(u32, u8)> = self.programming.bytes().collect();
        let whole = bytes.len() as u64 * progress / 65_536;
        for (i, &(at, new)) in bytes.iter().enumerate() {
            let Some(&old) = self.regions.data(region).get(at as usize) else { continue };
            let byte = self.torn_byte(old, new, (i as u64) < whole, progress);
            self.regions.set_byte(region, at, byte);
        }
    }

    /// A byte in which each bit is 1 with a chance of `chance` in 65536.
    fn drawn_bits(&mut self, chance: u64) -> u8 {
        (0..8).fold(0, |bits, _| bits << 1 | u8::from(self.torn_rng.below(65_536) < chance))
    }
}

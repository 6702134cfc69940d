//! Faults inside a chip, laid over its pristine memory.

use crate::chip::Chip;

/// The overlay of one chip.
#[derive(Debug, Clone, Default)]
pub(crate) struct Disturb {}

impl Chip {
    /// The value of a cell as it reads now.
    pub(crate) fn cell(&mut self, offset: u32) -> u8 {
        self.array.get(offset)
    }

    /// Whether any cell may read differently from the array.
    pub(crate) fn cells_disturbed(&self) -> bool {
        false
    }

    /// Cells that were just programmed are fresh again.
    pub(crate) fn heal_written(&mut self) {}

    /// Duration of a write cycle with faults, and whether it changes memory.
    pub(crate) fn faulty_cycle(&mut self, lasts: u64) -> (u64, bool) {
        (lasts, true)
    }
}

//! Second regions beside the array: identification page, serial number, network address, protection registers.

use crate::chip::Chip;
use crate::chip::latch::Latch;
use crate::model::{ChipModel, Region};

/// What an accepted device address points at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Target {
    /// The array.
    Array,
    /// The region of this index in the model.
    Region(usize),
}

/// State of the second regions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Regions {}

impl Regions {
    pub(crate) fn new(_model: &ChipModel) -> Self {
        Self {}
    }

    pub(crate) fn protection_set(&self, _region: usize) -> bool {
        false
    }

    pub(crate) fn commit(&mut self, _region: usize, _latch: &Latch, _model: &Region) {}
}

impl Chip {
    pub(crate) fn drop_protected_region(&mut self, _now: u64, _region: usize) -> bool {
        false
    }

    pub(crate) fn drive_region(&mut self, _region: usize) -> u8 {
        0xFF
    }

    pub(crate) fn advance_region(&mut self, _region: usize) {}

    pub(crate) fn region_meant_by(&self, _control: u8) -> Option<(Target, u32)> {
        None
    }

    pub(crate) fn begin_region(&mut self, _now: u64, _region: usize, _read: bool) -> bool {
        false
    }

    pub(crate) fn region_header_done(&mut self, _now: u64, _region: usize, _value: u32) -> bool {
        false
    }

    pub(crate) fn region_locked(&self, _region: usize) -> bool {
        false
    }

    pub(crate) fn dummy(&mut self, _now: u64, _byte: u8) -> bool {
        false
    }

    pub(crate) fn command_stop(&mut self, _now: u64) {}
}

//! State of the second regions beside the array.

use alloc::vec::Vec;

use crate::model::{ChipModel, Region, RegionKind};
use crate::rng::Rng;

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
pub(crate) struct Regions {
    /// Contents of each region that has a device address of its own.
    pub(crate) data: Vec<Vec<u8>>,
    pub(crate) locked: Vec<bool>,
    pub(crate) protection: Vec<bool>,
    /// The region whose word address was set last, and the place in it.
    pub(crate) current: usize,
    pub(crate) pointer: u32,
    pub(crate) locking: bool,
    pub(crate) clearing: bool,
    pub(crate) dummies: u8,
    /// Half or bank that array accesses go to.
    pub(crate) bank: u32,
    /// A0 is at high voltage.
    pub(crate) high_voltage: bool,
}

/// What the factory put into a region.
pub(crate) fn factory_contents(region: &Region, rng: &mut Rng) -> Vec<u8> {
    let len = region.len as usize;
    // Ranges for documentation: RFC 7042, as quoted in the reference data.
    let mut bytes: Vec<u8> = match region.kind {
        RegionKind::SerialNumber => (0..len).map(|_| rng.byte()).collect(),
        RegionKind::Eui48 => alloc::vec![0x00, 0x00, 0x5E, 0x00, 0x53, rng.byte()],
        RegionKind::Eui64 => alloc::vec![0x02, 0x00, 0x5E, 0x10, 0x00, 0x00, 0x00, rng.byte()],
        _ => Vec::new(),
    };
    bytes.resize(len, 0xFF);
    bytes
}

pub(crate) fn holds_data(kind: RegionKind) -> bool {
    !matches!(kind, RegionKind::PermanentProtection | RegionKind::ReversibleProtection | RegionKind::BankSelect)
}

impl Regions {
    pub(crate) fn new(model: &ChipModel, rng: &mut Rng) -> Self {
        let count = model.regions.len();
        let data = model.regions.iter().map(|region| factory_contents(region, rng)).collect();
        Self { data, locked: alloc::vec![false; count], protection: alloc::vec![false; count], ..Self::default() }
    }

    pub(crate) fn protection_set(&self, region: usize) -> bool {
        self.protection[region]
    }

    pub(crate) fn data(&self, region: usize) -> &[u8] {
        &self.data[region]
    }

    pub(crate) fn load(&mut self, region: usize, bytes: &[u8]) {
        let len = bytes.len().min(self.data[region].len());
        self.data[region][..len].copy_from_slice(&bytes[..len]);
    }

    pub(crate) fn set_byte(&mut self, region: usize, at: u32, byte: u8) {
        self.data[region][at as usize] = byte;
    }

    /// Whether the write under way stores bytes, rather than setting a lock or a protection.
    pub(crate) fn takes_data(&self, region: usize) -> bool {
        !self.data[region].is_empty() && !self.locking
    }

    pub(crate) fn locked(&self, region: usize) -> bool {
        self.locked[region]
    }

    pub(crate) fn power_up(&mut self) {
        self.bank = 0;
        self.locking = false;
    }
}

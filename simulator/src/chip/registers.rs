//! State of the second regions beside the array.

use alloc::vec::Vec;

use crate::model::{ByteRange, ChipModel, Region, RegionKind};
use crate::rng::Rng;

/// What an accepted device address points at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Target {
    /// The array.
    Array,
    /// The region of this index in the model.
    Region(usize),
    /// The register of the security command.
    Security,
}

/// State of the second regions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Regions {
    /// Contents of each region that has a device address of its own.
    pub(crate) data: Vec<Vec<u8>>,
    pub(crate) locked: Vec<bool>,
    pub(crate) protection: Vec<bool>,
    /// Word address that comes next at each device address (that of its first region), where it is not the array's.
    pub(crate) pointers: Vec<Option<u32>>,
    /// Bits of the array's pointer above its capacity, for regions that share it.
    pub(crate) above: u32,
    /// This part was chosen for the reading of its identification.
    pub(crate) identified: bool,
    /// What the security command has made read-only for good.
    pub(crate) secured: Option<ByteRange>,
    /// The same while the command is under way.
    pub(crate) securing: ByteRange,
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
    let mut drawn: Vec<u8> = match region.kind {
        RegionKind::SerialNumber => (0..len).map(|_| rng.byte()).collect(),
        RegionKind::Eui48 => alloc::vec![0x00, 0x00, 0x5E, 0x00, 0x53, rng.byte()],
        RegionKind::Eui64 => alloc::vec![0x02, 0x00, 0x5E, 0x10, 0x00, 0x00, 0x00, rng.byte()],
        _ => Vec::new(),
    };
    drawn.resize(len, 0xFF);
    // What the sheet prints is the same in every part.
    drawn[..region.contents.len()].copy_from_slice(&region.contents);
    drawn
}

impl Regions {
    pub(crate) fn new(model: &ChipModel, rng: &mut Rng) -> Self {
        let count = model.regions.len();
        let data = model.regions.iter().map(|region| factory_contents(region, rng)).collect();
        let (locked, protection, pointers) =
            (alloc::vec![false; count], alloc::vec![false; count], alloc::vec![None; count]);
        Self { data, locked, protection, pointers, ..Self::default() }
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

    pub(crate) fn locked(&self, region: usize) -> bool {
        self.locked[region]
    }

    pub(crate) fn power_up(&mut self) {
        self.bank = 0;
        self.locking = false;
        self.pointers.fill(None);
        self.identified = false;
    }
}

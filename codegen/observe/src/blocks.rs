//! Sequential reads beyond the bytes that the word address reaches.

use crate::memory::Memory;
use crate::property::{At, Moments};

/// What such reads showed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Blocks {
    /// Bytes that differ from those at the start of the same block: the read went on elsewhere.
    pub(crate) elsewhere: u64,
    pub(crate) elsewhere_at: Moments,
    /// Bytes, neither erased nor zero, that are those at the start of the same block.
    pub(crate) same: u64,
    pub(crate) same_at: Moments,
    /// Bytes read beyond the end of a block.
    pub(crate) beyond: u64,
}

impl Blocks {
    pub(crate) fn beyond(&mut self, memory: &Memory, device: u8, wrapped: u32, byte: u8, at: At) {
        self.beyond += 1;
        match memory.get(device, wrapped) {
            Some(cell) if cell.certain && cell.byte != byte => {
                self.elsewhere += 1;
                self.elsewhere_at.add(at);
            }
            Some(cell) if cell.certain && byte != 0xFF && byte != 0 => {
                self.same += 1;
                self.same_at.add(at);
            }
            _ => {}
        }
    }
}

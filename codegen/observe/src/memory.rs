//! What memory is known to hold, from what was written and read.

use std::collections::HashMap;

/// Pages of 256 bytes that are kept for one way to read the traffic; beyond that everything is forgotten.
const PAGES: usize = 8192;

const KNOWN: u16 = 0x100;
/// It was read, or written where no page end can have led it astray.
const CERTAIN: u16 = 0x200;

/// Known bytes by device address and word address.
#[derive(Debug, Clone, Default)]
pub(crate) struct Memory {
    pages: HashMap<(u8, u32), Box<[u16; 256]>>,
}

/// What is known of a byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Cell {
    pub(crate) byte: u8,
    pub(crate) certain: bool,
}

impl Memory {
    pub(crate) fn get(&self, device: u8, offset: u32) -> Option<Cell> {
        let cell = self.pages.get(&(device, offset >> 8))?[offset as usize & 0xFF];
        (cell & KNOWN != 0).then_some(Cell { byte: cell as u8, certain: cell & CERTAIN != 0 })
    }

    pub(crate) fn put(&mut self, device: u8, offset: u32, byte: u8, certain: bool) {
        if self.pages.len() >= PAGES {
            self.pages.clear();
        }
        let page = self.pages.entry((device, offset >> 8)).or_insert_with(|| Box::new([0; 256]));
        page[offset as usize & 0xFF] = u16::from(byte) | KNOWN | if certain { CERTAIN } else { 0 };
    }

    /// What was known of these bytes may be over.
    pub(crate) fn doubt(&mut self, device: u8, from: u32, until: u32) {
        for offset in from..until {
            if let Some(page) = self.pages.get_mut(&(device, offset >> 8)) {
                page[offset as usize & 0xFF] &= !CERTAIN;
            }
        }
    }

    /// Another recording begins: time has passed, and memory may have changed.
    pub(crate) fn forget(&mut self) {
        self.pages.clear();
    }

    /// Runs of bytes that are certain: device address, first offset, bytes.
    pub(crate) fn runs(&self) -> Vec<(u8, u32, Vec<u8>)> {
        let mut keys: Vec<&(u8, u32)> = self.pages.keys().collect();
        keys.sort();
        let mut runs: Vec<(u8, u32, Vec<u8>)> = Vec::new();
        for key in keys {
            for (i, cell) in self.pages[key].iter().enumerate() {
                if cell & CERTAIN == 0 {
                    continue;
                }
                let (device, offset) = (key.0, (key.1 << 8) + i as u32);
                match runs.last_mut() {
                    Some((d, first, bytes)) if *d == device && *first + bytes.len() as u32 == offset => {
                        bytes.push(*cell as u8);
                    }
                    _ => runs.push((device, offset, vec![*cell as u8])),
                }
            }
        }
        runs
    }
}

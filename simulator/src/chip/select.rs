//! Which device addresses a chip answers, and the block-select bits in them.

use crate::model::DeviceBit;

/// What a chip compares with a 7-bit device address, worked out for the levels of its pins.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Selector {
    /// Bits that are compared, and their values.
    mask: u8,
    value: u8,
    /// Bits that are not looked at.
    pub(crate) ignored: u8,
    /// Block-select bits: which of them is at each place, 0xFF for none.
    blocks: [u8; 7],
    pub(crate) has_blocks: bool,
}

impl Selector {
    pub(crate) fn new(bits: &[DeviceBit; 7], pins: [bool; 3]) -> Self {
        let mut selector = Self { blocks: [0xFF; 7], ..Self::default() };
        for (place, role) in bits.iter().enumerate() {
            let bit = 1 << (6 - place);
            let expected = match *role {
                DeviceBit::Fixed(value) => value,
                DeviceBit::Pin(n) => pins[usize::from(n % 3)],
                DeviceBit::PinInverted(n) => !pins[usize::from(n % 3)],
                DeviceBit::Ignored => {
                    selector.ignored |= bit;
                    continue;
                }
                DeviceBit::Block(n) => {
                    (selector.blocks[place], selector.has_blocks) = (n, true);
                    continue;
                }
            };
            selector.mask |= bit;
            selector.value |= if expected { bit } else { 0 };
        }
        selector
    }

    /// The block-select bits in the address (bit `n` for `Block(n)`), if the chip is meant.
    pub(crate) fn select(&self, address: u8) -> Option<u32> {
        if address & self.mask != self.value {
            return None;
        }
        if !self.has_blocks {
            return Some(0);
        }
        let places = self.blocks.iter().enumerate().filter(|(_, n)| **n != 0xFF);
        Some(places.fold(0, |block, (place, n)| block | u32::from(address >> (6 - place) & 1) << n))
    }
}

/// Whether a pin A`n` is compared at all.
pub(crate) fn uses_pin(bits: &[DeviceBit; 7], n: u8) -> bool {
    bits.iter().any(|role| matches!(role, DeviceBit::Pin(p) | DeviceBit::PinInverted(p) if *p == n))
}

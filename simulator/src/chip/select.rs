//! Which device addresses a chip answers, and the block-select bits in them.

use crate::model::DeviceBit;

/// Compares a 7-bit device address with what the chip expects, bit by bit from the top.
///
/// Returns the block-select bits (bit `n` for `Block(n)`) if the chip is meant.
pub(crate) fn select(bits: &[DeviceBit; 7], pins: [bool; 3], address: u8) -> Option<u32> {
    let mut block = 0;
    for (place, role) in bits.iter().enumerate() {
        let bit = address >> (6 - place) & 1 == 1;
        let fits = match *role {
            DeviceBit::Fixed(value) => bit == value,
            DeviceBit::Pin(n) => bit == pins[usize::from(n % 3)],
            DeviceBit::PinInverted(n) => bit != pins[usize::from(n % 3)],
            DeviceBit::Ignored => true,
            DeviceBit::Block(n) => {
                block |= u32::from(bit) << n;
                true
            }
        };
        if !fits {
            return None;
        }
    }
    Some(block)
}

/// The bits of a 7-bit device address that the chip does not look at.
pub(crate) fn ignored_mask(bits: &[DeviceBit; 7]) -> u8 {
    let places = bits.iter().enumerate().filter(|(_, role)| **role == DeviceBit::Ignored);
    places.fold(0, |mask, (place, _)| mask | 1 << (6 - place))
}

/// Whether a pin A`n` is compared at all.
pub(crate) fn uses_pin(bits: &[DeviceBit; 7], n: u8) -> bool {
    bits.iter().any(|role| matches!(role, DeviceBit::Pin(p) | DeviceBit::PinInverted(p) if *p == n))
}

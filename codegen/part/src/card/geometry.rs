//! From a card to the driver's geometry.
//!
//! The simulated chip gets its own conversion in [`super::model`]; the two share no arithmetic on purpose, so that a
//! mistake here meets a chip that disagrees.

use std::fmt;

use pagewise_driver::{Geometry, GeometryError, Parameters};

use super::{Card, Role};

/// Levels of the address pins as the board straps them: `[A0, A1, A2]`, true for supply.
pub type PinLevels = [bool; 3];

/// Why a card has no geometry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoGeometry {
    /// The block-select bits do not sit side by side in rising order; no published part does that.
    ScatteredBlockBits,
    /// The driver refused the numbers.
    Refused(GeometryError),
}

impl fmt::Display for NoGeometry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ScatteredBlockBits => f.write_str("block-select bits do not sit side by side in rising order"),
            Self::Refused(reason) => write!(f, "{reason}"),
        }
    }
}

impl std::error::Error for NoGeometry {}

impl Card {
    /// The 7-bit device address at which firmware finds the part, block-select bits zero.
    ///
    /// Bits that the part ignores are sent as 0.
    #[must_use]
    pub fn device_address(&self, pins: PinLevels) -> u8 {
        self.device_bits().into_iter().fold(0, |address, role| {
            let bit = match role {
                Role::Fixed(level) => level,
                Role::Pin(pin) => pins[usize::from(pin)],
                Role::PinInverted(pin) => !pins[usize::from(pin)],
                Role::Ignored | Role::Block(_) => false,
            };
            address << 1 | u8::from(bit)
        })
    }

    /// Every 7-bit device address that the part answers with these straps, its own blocks and ignored bits included.
    #[must_use]
    pub fn answers(&self, pins: PinLevels) -> Vec<u8> {
        let free: Vec<u8> = (0..7u8)
            .filter(|place| matches!(self.device_bits()[usize::from(6 - place)], Role::Ignored | Role::Block(_)))
            .collect();
        let base = self.device_address(pins);
        let mut addresses: Vec<u8> = (0..1u16 << free.len())
            .map(|choice| {
                free.iter().enumerate().fold(base, |address, (n, place)| address | ((choice >> n & 1) as u8) << place)
            })
            .collect();
        addresses.sort_unstable();
        addresses
    }

    /// Bytes that a driver reaches without a bank-select command.
    #[must_use]
    pub fn reachable_bytes(&self) -> u32 {
        let bits = 8 * u32::from(self.word_address_bytes.value) + u32::from(self.block_select_bits());
        if bits >= 24 { self.capacity_bytes.value } else { self.capacity_bytes.value.min(1 << bits) }
    }

    /// The parameters of the driver's geometry with these straps.
    ///
    /// # Errors
    /// [`NoGeometry::ScatteredBlockBits`].
    pub fn parameters(&self, pins: PinLevels) -> Result<Parameters, NoGeometry> {
        let bits = self.device_bits();
        let places: Vec<(u8, u8)> = (0..7u8)
            .filter_map(|place| match bits[usize::from(6 - place)] {
                Role::Block(bit) => Some((bit, place)),
                _ => None,
            })
            .collect();
        let shift = places.first().map_or(0, |(_, place)| *place);
        if places.iter().any(|(bit, place)| shift + bit != *place) {
            return Err(NoGeometry::ScatteredBlockBits);
        }
        let capacity_bytes = self.reachable_bytes();
        Ok(Parameters::new()
            .with_capacity_bytes(capacity_bytes)
            .with_page_bytes(self.page_bytes.value.min(capacity_bytes))
            .with_word_address_bytes(self.word_address_bytes.value)
            .with_device_address(self.device_address(pins))
            .with_block_select_bits(places.len() as u8)
            .with_block_select_shift(shift)
            .with_sequential_read_bytes(self.read_wrap_bytes.value.min(capacity_bytes))
            .with_write_cycle_us(self.longest_write_us()))
    }

    /// Longest time from STOP to ready for a full page, in microseconds.
    #[must_use]
    pub fn longest_write_us(&self) -> u32 {
        match self.write_cycle_per.value {
            super::CyclePer::Page => self.write_cycle_max_us.value,
            super::CyclePer::Byte => self.write_cycle_max_us.value.saturating_mul(self.page_bytes.value),
        }
    }

    /// The same at a supply in millivolts.
    #[must_use]
    pub fn longest_write_us_at(&self, supply_mv: u32) -> u32 {
        let us = self.write_cycle_at(supply_mv).value;
        match self.write_cycle_per.value {
            super::CyclePer::Page => us,
            super::CyclePer::Byte => us.saturating_mul(self.page_bytes.value),
        }
    }

    /// The driver's geometry with these straps.
    ///
    /// # Errors
    /// [`NoGeometry`], which no card of the catalogue meets.
    pub fn geometry(&self, pins: PinLevels) -> Result<Geometry, NoGeometry> {
        Geometry::try_new(self.parameters(pins)?).map_err(NoGeometry::Refused)
    }
}

//! A card's part in a rig: straps, supply and SCL rate at which it must work, and the bytes that may be written.

use std::ops::Range;

use pagewise_driver::Geometry;
use pagewise_part::card::{Access, Card};
use pagewise_simulator::{Level, Straps};

/// A part with everything around it as its card demands.
#[derive(Debug, Clone)]
pub struct Seat {
    /// The card.
    pub card: Card,
    /// Levels of A0, A1, A2.
    pub pins: [bool; 3],
    /// The driver's geometry at these pins.
    pub geometry: Geometry,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Bytes that can be written: neither read-only by the factory, nor beyond reach.
    pub writable: Range<u32>,
}

impl Seat {
    /// Takes a card; `pins` (three bits) and `corner` choose among what the card allows.
    ///
    /// # Panics
    /// If a card has no geometry, or no supply and rate at which it writes.
    #[must_use]
    pub fn new(card: &Card, pins: u8, corner: u8) -> Self {
        let mut levels = [0, 1, 2].map(|pin| pins >> pin & 1 == 1);
        for (pin, high) in &card.required_straps {
            levels[usize::from(*pin)] = *high;
        }
        let geometry = card.geometry(levels).unwrap_or_else(|reason| panic!("{}: {reason}", card.id));
        let (supply_mv, scl_khz) = corners(card)[usize::from(corner) % corners(card).len()];
        let writable = writable(card, geometry.capacity_bytes());
        Self { card: card.clone(), pins: levels, geometry, supply_mv, scl_hz: scl_khz * 1000, writable }
    }

    /// The straps, WP inactive.
    #[must_use]
    pub fn straps(&self) -> Straps {
        Straps { a: self.pins.map(Level::from_bit), wp: Level::from_bit(!self.card.wp_active_high.value) }
    }

    /// Word-address bits that ride in the device address count from here.
    #[must_use]
    pub fn block_bytes(&self) -> u32 {
        1u32.checked_shl(8 * u32::from(self.card.word_address_bytes.value)).unwrap_or(u32::MAX)
    }
}

/// Supply in millivolts and SCL rate in kHz at the ends and in the middle of every grade.
fn corners(card: &Card) -> Vec<(u32, u32)> {
    let (low, high) = (card.write_min_mv.value, card.max_mv.value);
    let ends = card.speed.value.iter().flat_map(|grade| {
        let (from, to) = (grade.min_mv.max(low), grade.max_mv.min(high));
        [from, to.midpoint(from), to]
    });
    let usable = ends.filter(|mv| (low..=high).contains(mv)).map(|mv| (mv, card.scl_khz_at(mv)));
    let corners: Vec<(u32, u32)> = usable.filter(|(_, khz)| *khz > 0).collect();
    assert!(!corners.is_empty(), "{}: no supply at which it writes has a grade", card.id);
    corners
}

/// The longest run of bytes that nobody has made read-only.
fn writable(card: &Card, reach: u32) -> Range<u32> {
    let capacity = card.capacity_bytes.value;
    let mut locked = vec![card.fixed_range.value.bytes(capacity)];
    let inside = card.regions.iter().filter(|region| region.device_bits.is_none() && region.access == Access::ReadOnly);
    locked.extend(inside.map(|region| (region.word_address, region.length)));
    locked.retain(|(_, length)| *length > 0);
    let mut starts: Vec<u32> = vec![0];
    starts.extend(locked.iter().map(|(start, length)| start + length));
    let run = |start: u32| {
        let end = locked.iter().map(|(start, _)| *start).filter(|other| *other >= start).min();
        start..end.unwrap_or(capacity).min(reach)
    };
    let free = starts.into_iter().filter(|start| !locked.iter().any(|(s, l)| (*s..s + l).contains(start)));
    free.map(run).max_by_key(|range| range.len()).unwrap_or(0..0)
}

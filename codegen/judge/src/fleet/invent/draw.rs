//! Draws from a seed, the same on every machine and for good.

use rand_core::{Rng, SeedableRng};
use rand_xorshift::XorShiftRng;

/// A seeded source of choices.
pub(super) struct Draw(XorShiftRng);

impl Draw {
    /// The source for one board of a fleet.
    pub(super) fn new(seed: u64, place: u64) -> Self {
        let mut bytes = [0; 16];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        bytes[8..].copy_from_slice(&place.to_le_bytes());
        let mut source = XorShiftRng::from_seed(bytes);
        // Seeds that differ in few bits begin alike.
        for _ in 0..16 {
            source.next_u64();
        }
        Self(source)
    }

    /// A number below `bound`.
    pub(super) fn below(&mut self, bound: usize) -> usize {
        (self.0.next_u64() % bound.max(1) as u64) as usize
    }

    /// A number from `low` to `high`.
    pub(super) fn between(&mut self, low: u32, high: u32) -> u32 {
        low + self.below((high - low) as usize + 1) as u32
    }

    /// True so many times in a hundred.
    pub(super) fn percent(&mut self, times: usize) -> bool {
        self.below(100) < times
    }

    /// One of several.
    pub(super) fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len())]
    }

    /// One of several with weights.
    pub(super) fn weighted<T: Copy>(&mut self, of: &[(usize, T)]) -> T {
        let mut left = self.below(of.iter().map(|(weight, _)| weight).sum());
        for (weight, value) in of {
            if left < *weight {
                return *value;
            }
            left -= weight;
        }
        of[0].1
    }
}

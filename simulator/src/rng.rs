//! The one source of randomness: seeded, integer only, the same on every host.

/// SplitMix64: small, fast and good enough to draw levels, durations and garbage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// A generator for one purpose, so that drawing more for one purpose leaves the others alone.
    pub(crate) fn fork(&mut self, purpose: u64) -> Self {
        let mut child = Self(self.0 ^ purpose.wrapping_mul(0xA076_1D64_78BD_642F));
        child.next();
        child
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn byte(&mut self) -> u8 {
        (self.next() >> 56) as u8
    }

    pub(crate) fn level(&mut self) -> bool {
        self.next() >> 63 == 1
    }

    /// A value from 0 to `bound - 1`; 0 if `bound` is 0.
    pub(crate) fn below(&mut self, bound: u64) -> u64 {
        if bound == 0 { 0 } else { self.next() % bound }
    }
}

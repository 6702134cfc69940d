//! Random draws that are the same on every machine, from one seed.

/// SplitMix64.
#[derive(Debug, Clone)]
pub struct Draws(u64);

impl Draws {
    /// Draws from this seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Any number.
    pub fn any(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    /// A number below `limit`; 0 if that is 0.
    pub fn below(&mut self, limit: u32) -> u32 {
        (self.any() % u64::from(limit.max(1))) as u32
    }

    /// Any bytes.
    pub fn bytes(&mut self, length: usize) -> Vec<u8> {
        (0..length).map(|_| self.any() as u8).collect()
    }
}

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

#[cfg(test)]
mod tests {
    use super::Rng;

    /// The first five numbers from seed 1234567 in Rosetta Code, "Pseudo-random numbers/Splitmix64" (from memory).
    #[test]
    fn the_numbers_are_those_of_split_mix_64() {
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        let mut rng = Rng::new(1_234_567);
        assert_eq!([0; 5].map(|_| rng.next()), published);
        let drawn = |draw: fn(&mut Rng) -> u64| draw(&mut Rng::new(1_234_567));
        assert_eq!(drawn(|rng| rng.byte().into()), published[0] >> 56);
        assert_eq!(drawn(|rng| rng.level().into()), published[0] >> 63);
        assert_eq!(drawn(|rng| rng.below(1000)), published[0] % 1000);
        assert_eq!(drawn(|rng| rng.below(0)), 0);
    }

    #[test]
    fn a_fork_is_another_sequence_for_each_purpose_and_leaves_its_parent_alone() {
        let (mut parent, mut alone) = (Rng::new(7), Rng::new(7));
        let forks = [1, 2, 3].map(|purpose| parent.fork(purpose).next());
        assert!(forks[0] != forks[1] && forks[1] != forks[2] && forks[0] != forks[2], "{forks:?}");
        assert_eq!(parent.next(), alone.next());
    }
}

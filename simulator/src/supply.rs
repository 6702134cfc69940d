//! The supply as a profile over time.

use alloc::vec::Vec;

/// Supply values by time: steps, and ramps made of steps.
///
/// ```
/// use pagewise_simulator::SupplyProfile;
///
/// // On at 1 ms in a ramp of 2 ms, a dip at 10 ms, off at 20 ms.
/// let profile = SupplyProfile::new()
///     .step(0, 0)
///     .ramp(1_000_000, 3_000_000, 0, 3300)
///     .step(10_000_000, 1500)
///     .step(10_050_000, 3300)
///     .step(20_000_000, 0);
/// assert_eq!(profile.steps().last(), Some(&(20_000_000, 0)));
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SupplyProfile(Vec<(u64, u32)>);

impl SupplyProfile {
    /// No change.
    #[must_use]
    pub const fn new() -> Self {
        Self(Vec::new())
    }

    /// From `at_ns` on the supply is `mv`.
    #[must_use]
    pub fn step(mut self, at_ns: u64, mv: u32) -> Self {
        self.0.push((at_ns, mv));
        self.0.sort_by_key(|(at, _)| *at);
        self
    }

    /// A straight line in 64 steps from `from_mv` at `from_ns` to `to_mv` at `to_ns`.
    #[must_use]
    pub fn ramp(mut self, from_ns: u64, to_ns: u64, from_mv: u32, to_mv: u32) -> Self {
        let (span_ns, span_mv) = (i128::from(to_ns) - i128::from(from_ns), i128::from(to_mv) - i128::from(from_mv));
        for i in 0..=64 {
            let at = (i128::from(from_ns) + span_ns * i / 64) as u64;
            self.0.push((at, (i128::from(from_mv) + span_mv * i / 64) as u32));
        }
        self.0.sort_by_key(|(at, _)| *at);
        self
    }

    /// Time in nanoseconds and value in millivolts of each change, by time.
    #[must_use]
    pub fn steps(&self) -> &[(u64, u32)] {
        &self.0
    }
}

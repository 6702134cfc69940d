//! Shortest, longest and usual of a series of numbers.

use std::collections::BTreeMap;

use crate::property::At;

/// Numbers with the moments of the extremes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Range {
    pub(crate) count: u64,
    pub(crate) least: Option<(u64, At)>,
    pub(crate) most: Option<(u64, At)>,
    /// Count by value to ten significant bits.
    histogram: BTreeMap<u64, u64>,
}

impl Range {
    pub(crate) fn add(&mut self, value: u64, at: At) {
        self.count += 1;
        if self.least.is_none_or(|(least, _)| value < least) {
            self.least = Some((value, at));
        }
        if self.most.is_none_or(|(most, _)| value > most) {
            self.most = Some((value, at));
        }
        let drop = (u64::BITS - value.leading_zeros()).saturating_sub(10);
        *self.histogram.entry(value >> drop << drop).or_default() += 1;
    }

    /// The median, to within 0.2 %.
    pub(crate) fn median(&self) -> Option<u64> {
        let mut left = self.count / 2;
        self.histogram.iter().find_map(|(value, count)| {
            let found = left < *count;
            left = left.saturating_sub(*count);
            found.then_some(*value)
        })
    }
}

//! Preferred values of resistors: the series E6, E12 and E24 of IEC 60063.

use schemars::JsonSchema;
use serde::Serialize;

/// E24 by tenths of a decade; every second value is E12, every fourth E6.
const E24: [u32; 24] = [10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91];

/// A series of preferred values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Series {
    /// Six values a decade.
    E6,
    /// Twelve values a decade.
    E12,
    /// Twenty-four values a decade.
    E24,
}

impl Series {
    /// Its values from 10 ohm to 9.1 Mohm, in ohms, rising.
    pub fn values(self) -> impl DoubleEndedIterator<Item = u32> {
        let step = match self {
            Self::E6 => 4,
            Self::E12 => 2,
            Self::E24 => 1,
        };
        (0..6u32).flat_map(move |decade| E24.iter().step_by(step).map(move |value| value * 10u32.pow(decade)))
    }

    /// The largest value that is not above `ohm`.
    #[must_use]
    pub fn at_most(self, ohm: f64) -> Option<u32> {
        self.values().rfind(|value| f64::from(*value) <= ohm)
    }

    /// The smallest value that is not below `ohm`.
    #[must_use]
    pub fn at_least(self, ohm: f64) -> Option<u32> {
        self.values().find(|value| f64::from(*value) >= ohm)
    }

    /// The value nearest to `ohm` (by ratio) that lies between two limits.
    #[must_use]
    pub fn nearest(self, ohm: f64, least: f64, most: f64) -> Option<u32> {
        let inside = self.values().filter(|value| (least..=most).contains(&f64::from(*value)));
        inside.min_by(|a, b| {
            let distance = |value: &u32| (f64::from(*value) / ohm).ln().abs();
            distance(a).total_cmp(&distance(b))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_keep_the_steps_of_iec_60063() {
        for (series, count) in [(Series::E6, 6), (Series::E12, 12), (Series::E24, 24)] {
            let decade: Vec<f64> = series.values().take(count + 1).map(f64::from).collect();
            assert_eq!(decade[count], 100.0);
            // Each value stands within its tolerance of the exact power of ten: E24 values are for 5 % parts.
            for (n, value) in decade.iter().enumerate() {
                let exact = 10.0 * 10f64.powf(n as f64 / count as f64);
                assert!((value / exact - 1.0).abs() < 0.05, "{series:?}: {value} beside {exact}");
            }
            assert!(decade.is_sorted_by(|a, b| a < b));
        }
    }

    #[test]
    fn values_are_rounded_towards_the_safe_side_of_a_limit() {
        assert_eq!(Series::E12.at_most(2199.0), Some(1800));
        assert_eq!(Series::E12.at_most(2200.0), Some(2200));
        assert_eq!(Series::E24.at_least(966.7), Some(1000));
        assert_eq!(Series::E24.nearest(2150.0, 1000.0, 2100.0), Some(2000));
        assert_eq!(Series::E12.nearest(2150.0, 1900.0, 2100.0), None);
        assert_eq!((Series::E24.at_most(9.0), Series::E24.at_least(1e9)), (None, None));
    }
}

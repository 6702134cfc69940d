//! Limits that hold in one range of supply and temperature.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Card, assume};
use crate::fact::Fact;

/// Rated write cycles at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, JsonSchema, Serialize)]
pub struct EndurancePoint {
    /// Temperature in degrees Celsius.
    pub celsius: f64,
    /// Rated write cycles per wear unit.
    pub cycles: u64,
}

/// Temperatures in degrees Celsius at which something holds; an end that is absent is the part's own.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Temperatures {
    /// Lowest.
    pub min_c: Option<i32>,
    /// Highest.
    pub max_c: Option<i32>,
}

impl Temperatures {
    /// Whether it holds over a whole range.
    #[must_use]
    pub fn cover(self, (low, high): (i32, i32)) -> bool {
        self.min_c.is_none_or(|min| min <= low) && self.max_c.is_none_or(|max| high <= max)
    }

    /// Whether nothing of the part's own range is left out.
    #[must_use]
    pub const fn are_all(self) -> bool {
        self.min_c.is_none() && self.max_c.is_none()
    }
}

/// Fastest SCL in one range of supply and temperature.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Grade {
    /// Lower end of the supply range in millivolts.
    pub min_mv: u32,
    /// Upper end in millivolts.
    pub max_mv: u32,
    /// Temperatures at which it holds.
    #[serde(flatten)]
    pub at: Temperatures,
    /// Fastest SCL in kHz.
    pub scl_khz: u32,
    /// AC limits in nanoseconds that the sheet states for this grade.
    pub ac: Ac,
    /// No sheet states it: it stands where the stated ranges leave a hole in the supply.
    pub assumed: bool,
}

impl Grade {
    /// Whether its supply range holds a supply in millivolts.
    #[must_use]
    pub fn covers(&self, supply_mv: u32) -> bool {
        (self.min_mv..=self.max_mv).contains(&supply_mv)
    }
}

/// The most cautious grade in every hole that the grades leave between two supplies in millivolts.
pub(super) fn fill_holes(grades: &mut Vec<Grade>, (low, high): (u32, u32)) {
    grades.retain(|grade| !grade.assumed);
    let slowest = grades.iter().map(|grade| grade.scl_khz).min().unwrap_or(u32::MAX);
    let mut stated: Vec<(u32, u32)> = grades.iter().map(|grade| (grade.min_mv, grade.max_mv)).collect();
    stated.sort_unstable();
    let mut next = low;
    for (from, to) in stated.into_iter().chain([(high.saturating_add(1), u32::MAX)]) {
        if from > next {
            let scl_khz = slowest.min(assume::SCL_KHZ.value);
            let (min_mv, max_mv) = (next, (from - 1).min(high));
            let at = Temperatures::default();
            grades.push(Grade { min_mv, max_mv, at, scl_khz, ac: Ac::default(), assumed: true });
        }
        next = next.max(to.saturating_add(1));
    }
}

/// Limits that hold in one range of supply and temperature; everywhere else the plain values of the card do.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Limits {
    /// Lower end of the supply range in millivolts; absent: the part's own.
    pub min_mv: Option<u32>,
    /// Upper end in millivolts; absent: the part's own.
    pub max_mv: Option<u32>,
    /// Temperatures at which they hold.
    #[serde(flatten)]
    pub at: Temperatures,
    /// Longest write cycle in microseconds.
    pub write_cycle_us: Option<u32>,
    /// Rated write cycles per wear unit.
    pub endurance_cycles: Option<u64>,
    /// Retention in years.
    pub retention_years: Option<u32>,
}

impl Limits {
    /// Whether they hold at a supply in millivolts.
    #[must_use]
    pub fn cover(&self, supply_mv: u32) -> bool {
        self.min_mv.is_none_or(|min| min <= supply_mv) && self.max_mv.is_none_or(|max| supply_mv <= max)
    }
}

impl Card {
    /// The temperatures in degrees Celsius at which the part works, whatever its grade.
    #[must_use]
    pub fn temperatures(&self) -> (i32, i32) {
        (self.temperature_min_c.value, self.temperature_max_c.value)
    }

    /// The part as it is over a whole range of temperatures in degrees Celsius: only the limits that hold there are left.
    #[must_use]
    pub fn at_temperatures(mut self, range: (i32, i32)) -> Self {
        let all = |at: &Temperatures| at.are_all();
        if self.speed.value.iter().all(|it| all(&it.at)) && self.grades.value.iter().all(|it| all(&it.at)) {
            return self;
        }
        self.speed.value.retain(|grade| grade.at.cover(range));
        self.speed.value.iter_mut().for_each(|grade| grade.at = Temperatures::default());
        self.grades.value.retain(|limits| limits.at.cover(range));
        self.grades.value.iter_mut().for_each(|limits| limits.at = Temperatures::default());
        fill_holes(&mut self.speed.value, (self.read_min_mv.value, self.max_mv.value));
        self
    }

    /// Speed grades that hold over all temperatures of the part and cover a supply in millivolts.
    pub fn grades_at(&self, supply_mv: u32) -> impl Iterator<Item = &Grade> {
        let range = self.temperatures();
        self.speed.value.iter().filter(move |grade| grade.covers(supply_mv) && grade.at.cover(range))
    }

    /// Fastest SCL in kHz at a supply, 0 where no grade covers it.
    #[must_use]
    pub fn scl_khz_at(&self, supply_mv: u32) -> u32 {
        self.grades_at(supply_mv).map(|grade| grade.scl_khz).max().unwrap_or(0)
    }

    fn limits_at(&self, supply_mv: u32) -> impl Iterator<Item = &Limits> {
        let range = self.temperatures();
        self.grades.value.iter().filter(move |limits| limits.cover(supply_mv) && limits.at.cover(range))
    }

    /// Longest write cycle in microseconds at a supply in millivolts.
    #[must_use]
    pub fn write_cycle_at(&self, supply_mv: u32) -> Fact<u32> {
        let shortest = self.limits_at(supply_mv).filter_map(|limits| limits.write_cycle_us).min();
        shortest.map_or_else(|| self.write_cycle_max_us.clone(), |us| self.grades.map(|_| us))
    }

    /// Rated write cycles per wear unit at a supply in millivolts.
    #[must_use]
    pub fn rated_cycles_at(&self, supply_mv: u32) -> Fact<u64> {
        let best = self.limits_at(supply_mv).filter_map(|limits| limits.endurance_cycles).max();
        best.map_or_else(|| self.endurance_cycles.clone(), |cycles| self.grades.map(|_| cycles))
    }

    /// Retention in years at a supply in millivolts.
    #[must_use]
    pub fn retention_at(&self, supply_mv: u32) -> Fact<u32> {
        let best = self.limits_at(supply_mv).filter_map(|limits| limits.retention_years).max();
        best.map_or_else(|| self.retention_years.clone(), |years| self.grades.map(|_| years))
    }
}

/// AC limits in nanoseconds; what a sheet does not state is absent.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ac {
    /// SCL low, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_low: Option<u32>,
    /// SCL high, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_high: Option<u32>,
    /// START hold, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_hd_sta: Option<u32>,
    /// Repeated START set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_su_sta: Option<u32>,
    /// Data hold, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_hd_dat: Option<u32>,
    /// Data set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_su_dat: Option<u32>,
    /// STOP set-up, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_su_sto: Option<u32>,
    /// Bus free, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_buf: Option<u32>,
    /// SCL low to data valid, maximum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_aa_max: Option<u32>,
    /// Spike filter, maximum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_sp_max: Option<u32>,
    /// SCL low to a change of data, minimum (also called data-out hold, t_DH).
    #[schemars(range(min = 1, max = 100_000))]
    pub t_aa_min: Option<u32>,
    /// WP set-up before the STOP of a write, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_su_wp: Option<u32>,
    /// WP hold after the STOP of a write, minimum.
    #[schemars(range(min = 0, max = 100_000))]
    pub t_hd_wp: Option<u32>,
}

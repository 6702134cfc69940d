//! What depends on supply and temperature: limits of the supply, of SCL and of the write cycle.

use alloc::vec::Vec;

use super::{AcLimits, CycleUnit};

/// The internal write cycle.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WriteCycle {
    /// Typical duration.
    pub typical_ns: u64,
    /// Longest duration; at least `typical_ns`.
    pub max_ns: u64,
    /// What one duration covers.
    pub per: CycleUnit,
    /// Shorter longest durations in ranges of supply and temperature; where several cover them the shortest counts, where
    /// none does `max_ns`.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Vec::is_empty"))]
    pub grades: Vec<CycleGrade>,
}

impl WriteCycle {
    /// The longest duration at a supply, whatever the temperature.
    #[must_use]
    pub fn max_ns_at(&self, mv: u32) -> u64 {
        self.max_ns_in(mv, None)
    }

    /// The longest duration at a supply and a temperature in degrees Celsius; without one only what holds at all of them.
    #[must_use]
    pub fn max_ns_in(&self, mv: u32, celsius: Option<i32>) -> u64 {
        let covering = self.grades.iter().filter(|grade| grade.covers(mv, celsius));
        covering.map(|grade| grade.max_ns).min().unwrap_or(self.max_ns)
    }
}

/// The longest write cycle in one range of supply and temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct CycleGrade {
    /// Lower end of the supply range.
    pub min_mv: u32,
    /// Upper end.
    pub max_mv: u32,
    /// Lowest temperature in degrees Celsius at which it holds; absent: it holds at all that the part bears.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Option::is_none"))]
    pub min_c: Option<i32>,
    /// Highest.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Option::is_none"))]
    pub max_c: Option<i32>,
    /// Longest duration there; at most that of the whole part.
    pub max_ns: u64,
}

impl CycleGrade {
    fn covers(&self, mv: u32, celsius: Option<i32>) -> bool {
        let cold_end = self.min_c.is_none_or(|min| celsius.is_some_and(|celsius| celsius >= min));
        let hot_end = self.max_c.is_none_or(|max| celsius.is_some_and(|celsius| celsius <= max));
        (self.min_mv..=self.max_mv).contains(&mv) && cold_end && hot_end
    }
}

/// Supply limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SupplyLimits {
    /// Lowest supply at which the chip answers and reads.
    pub read_min_mv: u32,
    /// Lowest supply at which it writes; at least `read_min_mv`.
    pub write_min_mv: u32,
    /// Highest supply.
    pub max_mv: u32,
    /// What a dip of the supply costs, where a sheet says it; otherwise every supply below `read_min_mv` resets the chip.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "Option::is_none"))]
    pub brown_out: Option<BrownOut>,
}

/// The power-on reset of a part. Source: Microchip AT24CSW04X/08X, as in standards.toml, `practice.power`: 1.5 V, 1 ms;
/// after a dip below go through a full power cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct BrownOut {
    /// Below this the chip is reset (V_POR); above it, and below what reading needs, it is silent and keeps its state.
    pub reset_mv: u32,
    /// For so long the supply must stay below to start the chip properly (t_POFF). After a shorter time nothing is promised:
    /// here the chip starts, or stays silent until a full power cycle, as drawn.
    pub off_ns: u64,
}

/// Fastest SCL in one supply range, and the part's own timing limits there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SpeedGrade {
    /// Lower end of the supply range.
    pub min_mv: u32,
    /// Upper end.
    pub max_mv: u32,
    /// Fastest SCL.
    pub scl_hz: u32,
    /// AC limits of the part in this range; those of the bus mode where a sheet gives none.
    pub ac: AcLimits,
}

impl SpeedGrade {
    /// Whether the supply range holds this value, in millivolts.
    #[must_use]
    pub const fn covers(&self, mv: u32) -> bool {
        mv >= self.min_mv && mv <= self.max_mv
    }
}

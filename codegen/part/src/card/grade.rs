//! Limits that hold in one range of supply or temperature.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Rated write cycles at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EndurancePoint {
    /// Temperature in degrees Celsius.
    pub celsius: f64,
    /// Rated write cycles per wear unit.
    pub cycles: u64,
}

/// Fastest SCL in one supply range.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Grade {
    /// Lower end of the supply range in millivolts.
    pub min_mv: u32,
    /// Upper end in millivolts.
    pub max_mv: u32,
    /// Fastest SCL in kHz.
    pub scl_khz: u32,
    /// AC limits in nanoseconds that the sheet states for this grade.
    pub ac: Ac,
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
}

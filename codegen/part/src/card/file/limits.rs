//! Limits: write cycle, endurance, supply, SCL, temperature.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::card::{Ac, CyclePer};

/// Write cycle.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(in crate::card) struct WriteCycle {
    /// Longest, in milliseconds; 0 for a FRAM.
    #[schemars(range(min = 0, max = 100))]
    pub(in crate::card) max_ms: Option<f64>,
    /// Typical, in milliseconds.
    #[schemars(range(min = 0, max = 100))]
    pub(in crate::card) typ_ms: Option<f64>,
    /// What one write cycle covers.
    pub(in crate::card) per: Option<CyclePer>,
}

/// Rated write cycles at a temperature.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::card) struct EnduranceAt {
    /// Temperature in degrees Celsius.
    #[schemars(range(min = -55, max = 150))]
    pub(in crate::card) celsius: f64,
    /// Write cycles.
    #[schemars(range(min = 1, max = 1_000_000_000_000_000_u64))]
    pub(in crate::card) cycles: u64,
}

/// Supply range in volts.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(in crate::card) struct Supply {
    /// Lowest for reading.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) min_v: Option<f64>,
    /// Highest.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) max_v: Option<f64>,
    /// Lowest for writing.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) write_min_v: Option<f64>,
    /// Below it the part is reset (V_POR, maximum); goes with `off_ms`.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) reset_v: Option<f64>,
    /// For so many milliseconds it must stay below, so that the part starts properly (t_POFF, minimum).
    #[schemars(range(min = 0.001, max = 1000))]
    pub(in crate::card) off_ms: Option<f64>,
}

/// Fastest SCL in one range of supply and temperature.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::card) struct Speed {
    /// Lower end in volts.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) min_v: Option<f64>,
    /// Upper end in volts.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) max_v: Option<f64>,
    /// Lowest temperature in degrees Celsius at which it holds. Absent: the part's lowest.
    #[schemars(range(min = -65, max = 200))]
    pub(in crate::card) min_c: Option<i32>,
    /// Highest temperature in degrees Celsius at which it holds. Absent: the part's highest.
    #[schemars(range(min = -65, max = 200))]
    pub(in crate::card) max_c: Option<i32>,
    /// Fastest SCL in kHz.
    #[schemars(range(min = 1, max = 5000))]
    pub(in crate::card) scl_khz: u32,
    /// AC limits.
    #[serde(default)]
    pub(in crate::card) ac: Ac,
}

/// Limits that hold in one range of supply and temperature; the plain values hold everywhere.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "Limits")]
pub(in crate::card) struct GradeFile {
    /// Lower end in volts. Absent: the part's lowest supply.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) min_v: Option<f64>,
    /// Upper end in volts. Absent: the part's highest supply.
    #[schemars(range(min = 0.5, max = 7))]
    pub(in crate::card) max_v: Option<f64>,
    /// Lowest temperature in degrees Celsius. Absent: the part's lowest.
    #[schemars(range(min = -65, max = 200))]
    pub(in crate::card) min_c: Option<i32>,
    /// Highest temperature in degrees Celsius. Absent: the part's highest.
    #[schemars(range(min = -65, max = 200))]
    pub(in crate::card) max_c: Option<i32>,
    /// Longest write cycle in milliseconds; not longer than `write_cycle.max_ms`, which holds everywhere.
    #[schemars(range(min = 0, max = 100))]
    pub(in crate::card) write_cycle_ms: Option<f64>,
    /// Rated write cycles per wear unit; not fewer than `endurance_cycles`.
    #[schemars(range(min = 1, max = 1_000_000_000_000_000_u64))]
    pub(in crate::card) endurance_cycles: Option<u64>,
    /// Retention in years; not shorter than `retention_years`.
    #[schemars(range(min = 1, max = 1000))]
    pub(in crate::card) retention_years: Option<u32>,
}

/// Operating temperature in degrees Celsius.
#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(in crate::card) struct Temperature {
    /// Lowest.
    #[schemars(range(min = -65, max = 25))]
    pub(in crate::card) min_c: Option<i32>,
    /// Highest.
    #[schemars(range(min = 40, max = 200))]
    pub(in crate::card) max_c: Option<i32>,
}

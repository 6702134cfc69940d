//! The limits of the bus modes.
//!
//! Source: bus table of UM10204 as reprinted in NXP PCA9698 Rev.3 Table 15, PCAL9535A Rev.2 Table 33, PCA9675 Table 6
//! and PCA9665 Rev.02 Table 51; capacitance in Fast-mode Plus from the same table.

use schemars::JsonSchema;
use serde::Serialize;

/// Limits of one bus mode. Times in nanoseconds; minima unless the name says otherwise.
#[derive(Debug, Clone, Copy, PartialEq, JsonSchema, Serialize)]
pub struct Mode {
    /// Its name in the bus specification.
    pub name: &'static str,
    /// Fastest SCL in kHz.
    pub scl_max_khz: u32,
    /// START hold.
    pub t_hd_sta: u32,
    /// SCL low.
    pub t_low: u32,
    /// SCL high.
    pub t_high: u32,
    /// Repeated START set-up.
    pub t_su_sta: u32,
    /// Data set-up.
    pub t_su_dat: u32,
    /// Rise time of both lines, maximum.
    pub t_r_max: u32,
    /// Fall time of both lines, maximum.
    pub t_f_max: u32,
    /// STOP set-up.
    pub t_su_sto: u32,
    /// Bus free between STOP and START.
    pub t_buf: u32,
    /// SCL low to data or acknowledge valid, maximum.
    pub t_vd_max: u32,
    /// Capacitance of each line in picofarads, maximum.
    pub c_b_max_pf: u32,
    /// Current that every output can sink at 0.4 V, in milliamperes.
    pub sink_ma: f64,
}

/// Up to 100 kHz.
pub const STANDARD: Mode = Mode {
    name: "Standard-mode",
    scl_max_khz: 100,
    t_hd_sta: 4000,
    t_low: 4700,
    t_high: 4000,
    t_su_sta: 4700,
    t_su_dat: 250,
    t_r_max: 1000,
    t_f_max: 300,
    t_su_sto: 4000,
    t_buf: 4700,
    t_vd_max: 3450,
    c_b_max_pf: 400,
    sink_ma: 3.0,
};

/// Up to 400 kHz.
pub const FAST: Mode = Mode {
    name: "Fast-mode",
    scl_max_khz: 400,
    t_hd_sta: 600,
    t_low: 1300,
    t_high: 600,
    t_su_sta: 600,
    t_su_dat: 100,
    t_r_max: 300,
    t_f_max: 300,
    t_su_sto: 600,
    t_buf: 1300,
    t_vd_max: 900,
    c_b_max_pf: 400,
    sink_ma: 3.0,
};

/// Up to 1 MHz.
pub const FAST_PLUS: Mode = Mode {
    name: "Fast-mode Plus",
    scl_max_khz: 1000,
    t_hd_sta: 260,
    t_low: 500,
    t_high: 260,
    t_su_sta: 260,
    t_su_dat: 50,
    t_r_max: 120,
    t_f_max: 120,
    t_su_sto: 260,
    t_buf: 500,
    t_vd_max: 450,
    c_b_max_pf: 550,
    sink_ma: 20.0,
};

/// The slowest mode that allows an SCL rate; rates above Fast-mode Plus are held against it too.
#[must_use]
pub const fn for_rate(scl_khz: u32) -> Mode {
    match scl_khz {
        0..=100 => STANDARD,
        101..=400 => FAST,
        _ => FAST_PLUS,
    }
}

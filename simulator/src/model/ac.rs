//! AC timing limits, and those of the bus modes.

/// AC timing limits in nanoseconds: minima, except `t_aa_max` and `t_sp_max`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AcLimits {
    /// SCL low.
    pub t_low: u32,
    /// SCL high.
    pub t_high: u32,
    /// Hold time of a START.
    pub t_hd_sta: u32,
    /// Set-up time of a repeated START.
    pub t_su_sta: u32,
    /// Data hold.
    pub t_hd_dat: u32,
    /// Data set-up.
    pub t_su_dat: u32,
    /// Set-up time of a STOP.
    pub t_su_sto: u32,
    /// Bus free between STOP and START.
    pub t_buf: u32,
    /// Longest time from falling SCL to valid data.
    pub t_aa_max: u32,
    /// Longest spike that is filtered.
    pub t_sp_max: u32,
    /// Shortest time from falling SCL until the chip changes its data (t_AA minimum, data-out hold t_DH); each edge is
    /// drawn between it and `t_aa_max`. 0 where no sheet states it: then each takes the longest time.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "is_zero"))]
    pub t_aa_min: u32,
    /// WP stable before the STOP that starts a write cycle; 0 for none.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "is_zero"))]
    pub t_su_wp: u32,
    /// WP stable after that STOP; 0 for none.
    #[cfg_attr(feature = "serde", serde(default, skip_serializing_if = "is_zero"))]
    pub t_hd_wp: u32,
}

#[cfg(feature = "serde")]
fn is_zero(ns: &u32) -> bool {
    *ns == 0
}

impl AcLimits {
    /// Standard-mode, 100 kHz. Source: bus table of UM10204 as reprinted in NXP PCA9698 Rev.3 Table 15.
    pub const STANDARD: Self = Self {
        t_low: 4700,
        t_high: 4000,
        t_hd_sta: 4000,
        t_su_sta: 4700,
        t_hd_dat: 0,
        t_su_dat: 250,
        t_su_sto: 4000,
        t_buf: 4700,
        t_aa_max: 3450,
        t_sp_max: 50,
        t_aa_min: 0,
        t_su_wp: 0,
        t_hd_wp: 0,
    };
    /// Fast-mode, 400 kHz. Source: as [`AcLimits::STANDARD`].
    pub const FAST: Self = Self {
        t_low: 1300,
        t_high: 600,
        t_hd_sta: 600,
        t_su_sta: 600,
        t_hd_dat: 0,
        t_su_dat: 100,
        t_su_sto: 600,
        t_buf: 1300,
        t_aa_max: 900,
        t_sp_max: 50,
        t_aa_min: 0,
        t_su_wp: 0,
        t_hd_wp: 0,
    };
    /// Fast-mode Plus, 1 MHz. Source: as [`AcLimits::STANDARD`].
    pub const FAST_PLUS: Self = Self {
        t_low: 500,
        t_high: 260,
        t_hd_sta: 260,
        t_su_sta: 260,
        t_hd_dat: 0,
        t_su_dat: 50,
        t_su_sto: 260,
        t_buf: 500,
        t_aa_max: 450,
        t_sp_max: 50,
        t_aa_min: 0,
        t_su_wp: 0,
        t_hd_wp: 0,
    };

    /// The bus mode that covers an SCL rate; Fast-mode Plus for everything above 400 kHz.
    #[must_use]
    pub const fn for_scl_hz(scl_hz: u32) -> Self {
        if scl_hz <= 100_000 {
            Self::STANDARD
        } else if scl_hz <= 400_000 {
            Self::FAST
        } else {
            Self::FAST_PLUS
        }
    }
}

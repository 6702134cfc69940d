//! The timing parameters of the bus, by the symbols that data sheets print.

use core::fmt;

use crate::model::AcLimits;

/// A timing parameter of the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TimingParameter {
    /// SCL low.
    Low,
    /// SCL high.
    High,
    /// Hold time of a START.
    HoldStart,
    /// Set-up time of a repeated START.
    SetupStart,
    /// Data hold.
    HoldData,
    /// Data set-up.
    SetupData,
    /// Set-up time of a STOP.
    SetupStop,
    /// Bus free between STOP and START.
    BusFree,
    /// WP stable before the STOP that starts a write cycle.
    SetupWp,
    /// WP stable after it.
    HoldWp,
    /// Rise time; the only one here with an upper limit.
    Rise,
}

impl TimingParameter {
    /// Symbol, as data sheets print it.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Low => "t_LOW",
            Self::High => "t_HIGH",
            Self::HoldStart => "t_HD;STA",
            Self::SetupStart => "t_SU;STA",
            Self::HoldData => "t_HD;DAT",
            Self::SetupData => "t_SU;DAT",
            Self::SetupStop => "t_SU;STO",
            Self::BusFree => "t_BUF",
            Self::SetupWp => "t_SU;WP",
            Self::HoldWp => "t_HD;WP",
            Self::Rise => "t_R",
        }
    }

    pub(crate) fn limit(self, limits: &AcLimits) -> u32 {
        match self {
            Self::Low => limits.t_low,
            Self::High => limits.t_high,
            Self::HoldStart => limits.t_hd_sta,
            Self::SetupStart => limits.t_su_sta,
            Self::HoldData => limits.t_hd_dat,
            Self::SetupData => limits.t_su_dat,
            Self::SetupStop => limits.t_su_sto,
            Self::BusFree => limits.t_buf,
            Self::SetupWp => limits.t_su_wp,
            Self::HoldWp => limits.t_hd_wp,
            Self::Rise => 0,
        }
    }
}

impl fmt::Display for TimingParameter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

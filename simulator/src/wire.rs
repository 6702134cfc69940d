//! The wire level: SDA and SCL as open-drain lines, chips that see edges only, pins for bit-banging controllers.
//!
//! A line is the wired AND of all drivers. It rises through the pull-up: from 0 to 70 % of the supply in 1.204 R C, of
//! which 0.8473 R C lie between 30 % and 70 %; it falls in a fixed time. Each chip filters spikes shorter than its t_SP,
//! samples SDA at rising SCL, and changes SDA its t_AA after falling SCL. START and STOP are edges of SDA while SCL is
//! high. With ideal lines (no capacitance) the wire level gives the same memory, trace and time as the byte level.
//!
//! ```
//! use embedded_hal::i2c::I2c;
//! use pagewise_simulator::{ChipModel, Rig, RigConfig, Straps, WireConfig};
//!
//! let rig = Rig::new(RigConfig::default());
//! let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
//! let mut bus = rig.bit_bang(WireConfig::default());
//! bus.write(0x50, &[0x00, 0x10, 0xAB])?;
//! rig.advance_ns(5_000_000);
//! assert_eq!(rig.memory(chip)[0x10], 0xAB);
//! # Ok::<(), pagewise_simulator::BitBangError>(())
//! ```

pub(crate) mod front;
pub(crate) mod limits;
pub(crate) mod monitor;
pub(crate) mod state;

use crate::model::AcLimits;

/// The lines of a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WireConfig {
    /// Pull-up of each line in ohms.
    pub pull_up_ohm: u32,
    /// Capacitance of each line in picofarads.
    pub capacitance_pf: u32,
    /// Fall time between 70 % and 30 % in nanoseconds.
    pub fall_ns: u32,
    /// Limits of the bus mode against which timing is checked, apart from the chips' own; `None` checks only the chips'.
    pub mode: Option<AcLimits>,
    /// Longest rise time of the bus mode in nanoseconds.
    pub rise_max_ns: u32,
}

impl WireConfig {
    /// 4.7 kilohm and 50 pF, fall time 20 ns, checked against Fast-mode.
    pub const TYPICAL: Self =
        Self { pull_up_ohm: 4700, capacitance_pf: 50, fall_ns: 20, mode: Some(AcLimits::FAST), rise_max_ns: 300 };

    /// Edges without duration, no check against a bus mode.
    pub const IDEAL: Self = Self { pull_up_ohm: 10_000, capacitance_pf: 0, fall_ns: 0, mode: None, rise_max_ns: 1000 };

    /// Highest voltage of a low that a pin drives, at the current that it must sink. Source: UM10204 Table 10.
    pub(crate) const LOW_MAX_MV: u32 = 400;

    /// Current that a pin must sink at [`WireConfig::LOW_MAX_MV`]: 3 mA, in Fast-mode Plus 20 mA. Source: UM10204 Table 10.
    pub(crate) fn sink_ua(&self) -> u64 {
        if self.mode == Some(AcLimits::FAST_PLUS) { 20_000 } else { 3_000 }
    }

    /// Rise time between 30 % and 70 %: 0.8473 R C. Source: UM10204 section 7.1.
    #[must_use]
    pub const fn rise_ns(&self) -> u64 {
        self.r_c(8473)
    }

    /// Time from the release of a line until it is at 70 %: 1.2040 R C. Source: UM10204 section 7.1.
    #[must_use]
    pub const fn release_ns(&self) -> u64 {
        self.r_c(12_040)
    }

    /// A multiple of R C, in ten-thousandths, in nanoseconds. Lines that need longer than `u32::MAX` never rise.
    const fn r_c(&self, ten_thousandths: u64) -> u64 {
        let picoseconds = self.pull_up_ohm as u128 * self.capacitance_pf as u128 * ten_thousandths as u128 / 10_000;
        let ns = picoseconds / 1000;
        if ns > u32::MAX as u128 { u32::MAX as u64 } else { ns as u64 }
    }
}

impl Default for WireConfig {
    fn default() -> Self {
        Self::TYPICAL
    }
}

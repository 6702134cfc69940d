//! The pull-up window: how large and how small the resistor of a line may be.
//!
//! | limit | formula | source |
//! |---|---|---|
//! | rise time, upper | `R <= t_r / (0.8473 C_b)` | UM10204 section 7.1 |
//! | sink current, lower | `R >= (V_DD - V_OL) / I_OL` | UM10204 section 7.1 |
//! | sink current at 2 V and below | `V_OL = 0.2 V_DD` at 2 mA | UM10204, levels of Fast-mode and Fast-mode Plus |
//! | leakage, upper | `R <= (0.8 V_DD - V_IH) / I_L`, `V_IH = 0.7 V_DD` | ROHM BR24G08-3 data sheet p.18 |
//! | leakage of one pin | 10 uA | UM10204, `I_i` |
//! | series resistor, upper | `R_S <= (V_IL - V_OL - 0.1 V_DD) / (1.1 V_DD - V_IL) R`, `V_IL = 0.3 V_DD` | ROHM BR24G08-3 data sheet p.19 |
//!
//! Leakage counts one pin for the controller, one for the part and one for each other device of the board file.

use schemars::JsonSchema;
use serde::Serialize;

use super::mode::{self, Mode};
use super::resistor::Series;
use crate::board::Bus;

/// A line rises from 30 % to 70 % of the supply in this times `R C`: ln(7/3), as UM10204 section 7.1 prints it.
pub const RISE: f64 = 0.8473;

/// Leakage of one pin in microamperes. Source: UM10204, `I_i` of the table of levels.
const LEAKAGE_UA: f64 = 10.0;

/// Rise time in nanoseconds of `ohm` and `pf`.
#[must_use]
pub fn rise_ns(ohm: f64, pf: f64) -> f64 {
    RISE * ohm * pf / 1000.0
}

/// Largest resistor in ohms that makes `pf` rise in `limit_ns`.
#[must_use]
pub fn most_by_rise(limit_ns: f64, pf: f64) -> f64 {
    limit_ns * 1000.0 / (RISE * pf)
}

/// Largest capacitance in picofarads that `ohm` makes rise in `limit_ns`.
#[must_use]
pub fn most_capacitance(limit_ns: f64, ohm: f64) -> f64 {
    limit_ns * 1000.0 / (RISE * ohm)
}

/// Smallest resistor in ohms that an output sinking `sink_ma` pulls down to `low_v`.
#[must_use]
pub fn least_by_sink(supply_v: f64, low_v: f64, sink_ma: f64) -> f64 {
    (supply_v - low_v) / (sink_ma / 1000.0)
}

/// Smallest resistor in ohms for a mode's promise: its sink current at 0.4 V, or 2 mA at 20 % of a supply of 2 V or
/// less.
#[must_use]
pub fn least_in(mode: &Mode, supply_v: f64) -> f64 {
    let sink_ma = if supply_v > 2.0 { mode.sink_ma } else { 2.0 };
    least_by_sink(supply_v, lowest_v(supply_v), sink_ma)
}

/// Voltage of a LOW that every output promises: 0.4 V, or 20 % of a supply of 2 V or less.
fn lowest_v(supply_v: f64) -> f64 {
    if supply_v > 2.0 { 0.4 } else { 0.2 * supply_v }
}

/// Largest resistor in ohms that keeps a HIGH of 80 % of the supply above `high_v` with `leakage_ua` on the line.
#[must_use]
pub fn most_by_leakage(supply_v: f64, high_v: f64, leakage_ua: f64) -> f64 {
    (0.8 * supply_v - high_v) / (leakage_ua / 1e6)
}

/// Largest resistor in series with an output in ohms, so that a LOW stays 10 % of the supply below `low_limit_v` in spite
/// of it. Negative when even none leaves that margin.
#[must_use]
pub fn most_in_series(supply_v: f64, low_limit_v: f64, low_v: f64, pull_up_ohm: f64) -> f64 {
    (low_limit_v - low_v - 0.1 * supply_v) / (1.1 * supply_v - low_limit_v) * pull_up_ohm
}

/// Which limit is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// The line must rise in time.
    RiseTime,
    /// The line must reach HIGH in spite of leakage.
    Leakage,
    /// An output must pull the line low.
    SinkCurrent,
}

impl Limit {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::RiseTime => "rise time",
            Self::Leakage => "leakage",
            Self::SinkCurrent => "sink current",
        }
    }
}

/// How the board's resistor stands in the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Between the limits.
    Inside,
    /// Below the lower limit: an output cannot pull the line low.
    TooSmall,
    /// Above the upper limit: the line rises too slowly or not high enough.
    TooLarge,
    /// No resistor would do.
    Infeasible,
}

/// The pull-up window of one bus.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct PullUp {
    /// The bus mode whose limits hold.
    pub mode: Mode,
    /// Supply in volts.
    pub supply_v: f64,
    /// Capacitance of a line in picofarads, with what a swapped part adds.
    pub capacitance_pf: f64,
    /// The board's resistor in ohms.
    pub fitted_ohm: f64,
    /// Its rise time in nanoseconds.
    pub rise_ns: f64,
    /// Leakage counted on a line in microamperes.
    pub leakage_ua: f64,
    /// Upper limit in ohms from the rise time.
    pub most_by_rise_ohm: f64,
    /// Upper limit in ohms from leakage.
    pub most_by_leakage_ohm: f64,
    /// Lower limit in ohms from the sink current that the mode promises.
    pub least_ohm: f64,
    /// The same at a supply 10 % higher.
    pub least_at_10_percent_more_ohm: f64,
    /// Lower limit in ohms if an output sinks 3 mA only, where the mode promises more.
    pub least_at_3_ma_ohm: Option<f64>,
    /// Largest resistor in ohms in series with an output, with the board's pull-up; negative when none leaves the margin.
    pub most_in_series_ohm: f64,
    /// The upper limit that counts, in ohms.
    pub most_ohm: f64,
    /// Which upper limit counts.
    pub upper_limit: Limit,
    /// The limit that is nearest to the board's resistor, by ratio.
    pub tight: Limit,
    /// How the board's resistor stands.
    pub standing: Standing,
    /// Preferred values in the window, nearest to the board's resistor.
    pub nearest_e12_ohm: Option<u32>,
    /// The same of the finer series.
    pub nearest_e24_ohm: Option<u32>,
    /// Smallest and largest preferred value (E24) inside the window.
    pub e24_range_ohm: Option<(u32, u32)>,
    /// What to do when no resistor does, or the board's does not.
    pub ways_out: Vec<String>,
}

impl PullUp {
    /// The window of a bus; `more_pf` is what a swapped part adds to its capacitance.
    #[must_use]
    pub fn of(bus: &Bus, more_pf: f64) -> Self {
        let mode = mode::for_rate(bus.scl_khz);
        let supply_v = f64::from(bus.supply_mv) / 1000.0;
        // A part cannot take away more than the board has.
        let capacitance_pf = (f64::from(bus.capacitance_pf) + more_pf).max(1.0);
        let fitted_ohm = f64::from(bus.pull_up_ohm);
        let pins = 2.0 + bus.other_addresses.len() as f64;
        let leakage_ua = pins * LEAKAGE_UA;
        let most_by_rise_ohm = most_by_rise(f64::from(mode.t_r_max), capacitance_pf);
        let most_by_leakage_ohm = most_by_leakage(supply_v, 0.7 * supply_v, leakage_ua);
        let least_ohm = least_in(&mode, supply_v);
        let upper_limit = if most_by_leakage_ohm < most_by_rise_ohm { Limit::Leakage } else { Limit::RiseTime };
        let most_ohm = most_by_rise_ohm.min(most_by_leakage_ohm);
        let standing = if least_ohm > most_ohm {
            Standing::Infeasible
        } else if fitted_ohm < least_ohm {
            Standing::TooSmall
        } else if fitted_ohm > most_ohm {
            Standing::TooLarge
        } else {
            Standing::Inside
        };
        let from = |limit: f64| (fitted_ohm / limit).ln().abs();
        let tight = if from(least_ohm) < from(most_ohm) { Limit::SinkCurrent } else { upper_limit };
        let ends = (Series::E24.at_least(least_ohm), Series::E24.at_most(most_ohm));
        let mut window = Self {
            mode,
            supply_v,
            capacitance_pf,
            fitted_ohm,
            rise_ns: rise_ns(fitted_ohm, capacitance_pf),
            leakage_ua,
            most_by_rise_ohm,
            most_by_leakage_ohm,
            least_ohm,
            least_at_10_percent_more_ohm: least_in(&mode, 1.1 * supply_v),
            least_at_3_ma_ohm: (mode.sink_ma > 3.0 && supply_v > 2.0).then(|| least_by_sink(supply_v, 0.4, 3.0)),
            most_in_series_ohm: most_in_series(supply_v, 0.3 * supply_v, lowest_v(supply_v), fitted_ohm),
            most_ohm,
            upper_limit,
            tight,
            standing,
            nearest_e12_ohm: Series::E12.nearest(fitted_ohm, least_ohm, most_ohm),
            nearest_e24_ohm: Series::E24.nearest(fitted_ohm, least_ohm, most_ohm),
            e24_range_ohm: if let (Some(low), Some(high)) = ends { (low <= high).then_some((low, high)) } else { None },
            ways_out: Vec::new(),
        };
        window.ways_out = window.find_ways_out();
        window
    }

    /// Whether some resistor keeps all limits.
    #[must_use]
    pub fn is_feasible(&self) -> bool {
        self.standing != Standing::Infeasible
    }

    fn find_ways_out(&self) -> Vec<String> {
        let mut ways = Vec::new();
        match self.standing {
            Standing::Inside => {}
            Standing::TooSmall | Standing::TooLarge => match self.nearest_e12_ohm.or(self.nearest_e24_ohm) {
                Some(ohm) => ways.push(format!("fit {ohm} ohm")),
                None => ways.push(format!("fit {:.0} to {:.0} ohm", self.least_ohm.ceil(), self.most_ohm.floor())),
            },
            Standing::Infeasible => self.ways_out_of_nothing(&mut ways),
        }
        if self.capacitance_pf > f64::from(self.mode.c_b_max_pf) {
            let (name, most) = (self.mode.name, self.mode.c_b_max_pf);
            ways.push(format!(
                "{:.0} pF is more than the {most} pF that {name} allows: divide the bus",
                self.capacitance_pf
            ));
        }
        ways
    }

    fn ways_out_of_nothing(&self, ways: &mut Vec<String>) {
        if self.least_ohm > self.most_by_leakage_ohm {
            ways.push("fewer devices on the bus, or devices with less leakage".to_owned());
        }
        if self.least_ohm <= self.most_by_rise_ohm {
            return;
        }
        // Source of 6 mA at 0.6 V: UM10204, needed to drive the full load in Fast-mode.
        let stronger = least_by_sink(self.supply_v, 0.6, 6.0);
        if self.mode.sink_ma < 6.0 && self.supply_v > 2.0 && stronger <= self.most_ohm {
            ways.push(format!("outputs that sink 6 mA at 0.6 V: then at least {stronger:.0} ohm does"));
        }
        let less = most_capacitance(f64::from(self.mode.t_r_max), self.least_ohm);
        ways.push(format!("at most {:.0} pF on a line: shorter wires, fewer devices, or a divided bus", less.floor()));
        let slower = [mode::FAST, mode::STANDARD].into_iter().find(|slower| {
            let most = most_by_rise(f64::from(slower.t_r_max), self.capacitance_pf);
            slower.scl_max_khz < self.mode.scl_max_khz && least_in(slower, self.supply_v) <= most
        });
        if let Some(slower) = slower {
            let (least, most) =
                (least_in(&slower, self.supply_v), most_by_rise(f64::from(slower.t_r_max), self.capacitance_pf));
            ways.push(format!(
                "SCL at {} kHz or less ({}): then {:.0} to {:.0} ohm",
                slower.scl_max_khz,
                slower.name,
                least.ceil(),
                most.floor()
            ));
        }
    }
}

//! AC timing checks (rule L4): what was measured, against the limits of each chip and of the bus mode.

use alloc::vec::Vec;

use crate::event::{ChipId, Line};
use crate::model::AcLimits;
use crate::timing::TimingParameter;
use crate::wire::WireConfig;

/// A limit that was not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Violation {
    pub(crate) at_ns: u64,
    pub(crate) chip: Option<ChipId>,
    pub(crate) parameter: TimingParameter,
    pub(crate) limit_ns: u32,
    pub(crate) measured_ns: u64,
}

/// Measures the lines at 70 % when rising and 30 % when falling.
#[derive(Debug, Clone)]
pub(crate) struct Checker {
    limits: Vec<(Option<ChipId>, AcLimits)>,
    rise_ns: u64,
    fall_ns: u64,
    scl_rose: Option<u64>,
    scl_fell: Option<u64>,
    sda_changed: Option<u64>,
    started: Option<u64>,
    stopped: Option<u64>,
    scl: bool,
    in_transfer: bool,
    pub(crate) found: Vec<Violation>,
}

impl Checker {
    pub(crate) fn new(config: &WireConfig, chips: Vec<(Option<ChipId>, AcLimits)>) -> Self {
        let mut limits = chips;
        limits.extend(config.mode.map(|mode| (None, mode)));
        let mut found = Vec::new();
        if config.rise_ns() > u64::from(config.rise_max_ns) {
            let (limit_ns, measured_ns) = (config.rise_max_ns, config.rise_ns());
            found.push(Violation { at_ns: 0, chip: None, parameter: TimingParameter::Rise, limit_ns, measured_ns });
        }
        Self {
            limits,
            rise_ns: config.rise_ns(),
            fall_ns: u64::from(config.fall_ns),
            scl_rose: None,
            scl_fell: None,
            sda_changed: None,
            started: None,
            stopped: None,
            scl: true,
            in_transfer: false,
            found,
        }
    }

    /// The limits of a chip at another supply.
    pub(crate) fn set_limits(&mut self, chip: ChipId, limits: AcLimits) {
        if let Some(entry) = self.limits.iter_mut().find(|(of, _)| *of == Some(chip)) {
            entry.1 = limits;
        }
    }

    fn measure(&mut self, at_ns: u64, parameter: TimingParameter, measured_ns: u64) {
        for &(chip, ref limits) in &self.limits {
            let limit_ns = parameter.limit(limits);
            if measured_ns < u64::from(limit_ns) {
                self.found.push(Violation { at_ns, chip, parameter, limit_ns, measured_ns });
            }
        }
    }

    /// A line crossed; `by_controller` says whether the controller changed it (a chip's own data is its own affair).
    pub(crate) fn cross(&mut self, now: u64, line: Line, level: bool, by_controller: bool) {
        match (line, level) {
            (Line::Scl, true) => {
                self.scl = true;
                self.scl_rose = Some(now);
                let since = |from: u64, less: u64| now.saturating_sub(less).saturating_sub(from);
                if let Some(fell) = self.scl_fell {
                    self.measure(now, TimingParameter::Low, since(fell, self.rise_ns));
                }
                if let Some(changed) = self.sda_changed.take() {
                    self.measure(now, TimingParameter::SetupData, since(changed, self.rise_ns));
                }
            }
            (Line::Scl, false) => {
                self.scl = false;
                self.scl_fell = Some(now);
                self.sda_changed = None;
                if let Some(started) = self.started.take() {
                    self.measure(now, TimingParameter::HoldStart, (now - started).saturating_sub(self.fall_ns));
                } else if let Some(rose) = self.scl_rose {
                    self.measure(now, TimingParameter::High, (now - rose).saturating_sub(self.fall_ns));
                }
            }
            (Line::Sda, level) if self.scl => self.condition(now, !level),
            (Line::Sda, _) if by_controller => {
                if let Some(fell) = self.scl_fell {
                    self.measure(now, TimingParameter::HoldData, now - fell);
                }
                self.sda_changed = Some(now);
            }
            (Line::Sda, _) => {}
        }
    }

    fn condition(&mut self, now: u64, start: bool) {
        let since_rise = self.scl_rose.map(|rose| now - rose);
        if start {
            if let Some(stopped) = self.stopped.take() {
                self.measure(now, TimingParameter::BusFree, (now - stopped).saturating_sub(self.fall_ns));
            } else if let Some(ns) = since_rise.filter(|_| self.in_transfer) {
                self.measure(now, TimingParameter::SetupStart, ns.saturating_sub(self.fall_ns));
            }
            self.started = Some(now);
            self.in_transfer = true;
        } else {
            if let Some(ns) = since_rise {
                self.measure(now, TimingParameter::SetupStop, ns.saturating_sub(self.rise_ns));
            }
            (self.stopped, self.started, self.in_transfer) = (Some(now), None, false);
        }
    }
}

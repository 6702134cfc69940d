//! AC timing checks (rule L4): what was measured, against the limits of one chip or of the bus mode.
//!
//! Each checker stands behind the spike filter of its chip, so that it measures the edges that the chip sees. Lines are
//! measured at 70 % when rising and 30 % when falling.

use alloc::vec::Vec;

use crate::event::Line;
use crate::model::AcLimits;
use crate::timing::TimingParameter;
use crate::wire::WireConfig;

/// A limit that was not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Violation {
    pub(crate) at_ns: u64,
    pub(crate) parameter: TimingParameter,
    pub(crate) limit_ns: u32,
    pub(crate) measured_ns: u64,
}

/// Measures the edges that one device sees.
#[derive(Debug, Clone)]
pub(crate) struct Checker {
    limits: AcLimits,
    rise_ns: u64,
    fall_ns: u64,
    scl_rose: Option<u64>,
    scl_fell: Option<u64>,
    sda_changed: Option<u64>,
    started: Option<u64>,
    stopped: Option<u64>,
    scl: bool,
    in_transfer: bool,
    found: Vec<Violation>,
    /// Something was found since the last bit was sampled.
    pub(crate) broken: bool,
}

impl Checker {
    pub(crate) fn new(config: &WireConfig, limits: AcLimits, scl: bool) -> Self {
        Self {
            limits,
            rise_ns: config.rise_ns(),
            fall_ns: u64::from(config.fall_ns),
            scl_rose: None,
            scl_fell: None,
            sda_changed: None,
            started: None,
            stopped: None,
            scl,
            in_transfer: false,
            found: Vec::new(),
            broken: false,
        }
    }

    /// The limits at another supply.
    pub(crate) fn set_limits(&mut self, limits: AcLimits) {
        self.limits = limits;
    }

    /// The lines have other edges from now on.
    pub(crate) fn set_edges(&mut self, config: &WireConfig) {
        (self.rise_ns, self.fall_ns) = (config.rise_ns(), u64::from(config.fall_ns));
    }

    /// Whether anything was found since then: asked at every edge, where mostly nothing is.
    pub(crate) fn has_found(&self) -> bool {
        !self.found.is_empty()
    }

    /// What was found since the last call.
    pub(crate) fn found(&mut self) -> Vec<Violation> {
        core::mem::take(&mut self.found)
    }

    fn measure(&mut self, at_ns: u64, parameter: TimingParameter, measured_ns: u64) {
        let limit_ns = parameter.limit(&self.limits);
        if measured_ns < u64::from(limit_ns) {
            self.broken = true;
            self.found.push(Violation { at_ns, parameter, limit_ns, measured_ns });
        }
    }

    /// A line has crossed at `at`; `by_controller` says whether the controller changed it (a chip's own data is its own
    /// affair).
    pub(crate) fn cross(&mut self, at: u64, line: Line, level: bool, by_controller: bool) {
        match (line, level) {
            (Line::Scl, true) => self.scl_rises(at),
            (Line::Scl, false) => self.scl_falls(at),
            (Line::Sda, level) if self.scl => self.condition(at, !level),
            (Line::Sda, _) if by_controller => {
                if let Some(fell) = self.scl_fell {
                    self.measure(at, TimingParameter::HoldData, at.saturating_sub(fell));
                }
                self.sda_changed = Some(at);
            }
            (Line::Sda, _) => {}
        }
    }

    fn scl_rises(&mut self, at: u64) {
        self.scl = true;
        self.scl_rose = Some(at);
        let rise_ns = self.rise_ns;
        let since = |from: u64| at.saturating_sub(rise_ns).saturating_sub(from);
        if let Some(fell) = self.scl_fell {
            self.measure(at, TimingParameter::Low, since(fell));
        }
        if let Some(changed) = self.sda_changed.take() {
            self.measure(at, TimingParameter::SetupData, since(changed));
        }
    }

    fn scl_falls(&mut self, at: u64) {
        self.scl = false;
        self.scl_fell = Some(at);
        self.sda_changed = None;
        if let Some(started) = self.started.take() {
            self.measure(at, TimingParameter::HoldStart, self.until_fall(started, at));
        } else if let Some(rose) = self.scl_rose {
            self.measure(at, TimingParameter::High, self.until_fall(rose, at));
        }
    }

    /// From an edge until a line begins to fall that is low at `at`.
    fn until_fall(&self, from: u64, at: u64) -> u64 {
        at.saturating_sub(from).saturating_sub(self.fall_ns)
    }

    fn condition(&mut self, at: u64, start: bool) {
        if start {
            if let Some(stopped) = self.stopped.take() {
                self.measure(at, TimingParameter::BusFree, self.until_fall(stopped, at));
            } else if let Some(rose) = self.scl_rose.filter(|_| self.in_transfer) {
                self.measure(at, TimingParameter::SetupStart, self.until_fall(rose, at));
            }
            self.started = Some(at);
            self.in_transfer = true;
        } else {
            if let Some(rose) = self.scl_rose {
                let ns = at.saturating_sub(rose).saturating_sub(self.rise_ns);
                self.measure(at, TimingParameter::SetupStop, ns);
            }
            (self.stopped, self.started, self.in_transfer) = (Some(at), None, false);
        }
    }
}

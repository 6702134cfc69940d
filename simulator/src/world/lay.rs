//! The lines laid, devices hung on them, line faults and the supply.

use alloc::boxed::Box;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::event::Line;
use crate::fault::Fault;
use crate::model::AcLimits;
use crate::wire::WireConfig;
use crate::wire::front::{Front, Timing};
use crate::wire::limits::{Checker, Violation};
use crate::wire::monitor::Monitor;
use crate::wire::state::{LineFault, WireState, Wired};
use crate::world::World;

/// A device that is not an EEPROM of ours, at its pins.
const FOREIGN: AcLimits = AcLimits { t_aa_max: 300, ..AcLimits::FAST_PLUS };

/// The times of a chip at its pins at its supply.
fn timing(chip: &Chip) -> Timing {
    let ac = chip.grade().ac;
    let t_aa = (ac.t_aa_min.into(), ac.t_aa_max.into());
    Timing { t_aa, t_sp: ac.t_sp_max.into(), timeout_ns: chip.model.bus_timeout_ns }
}

impl World {
    /// Lays the lines, or gives those that are there other properties: levels, devices and what was seen stay.
    pub(crate) fn lay_wire(&mut self, config: WireConfig) {
        let mut wire = match self.wire.take() {
            Some(wire) => wire,
            None => self.new_wire(config),
        };
        wire.config = config;
        for front in &mut wire.fronts {
            front.checker.set_edges(&config);
        }
        let scl = wire.monitor.scl.level;
        wire.monitor.checker = config.mode.map(|mode| Checker::new(&config, mode, scl));
        self.rewire(&mut wire, Line::Scl, false);
        self.rewire(&mut wire, Line::Sda, false);
        self.wire = Some(wire);
        self.check_rise(&config);
    }

    fn new_wire(&mut self, config: WireConfig) -> Box<WireState> {
        let mut wire = Box::new(WireState {
            config,
            sda: Wired::RELEASED,
            scl: Wired::RELEASED,
            fronts: Vec::new(),
            monitor: Monitor::new(0),
            line_faults: self.line_faults_ahead(),
            left_alone_at: u64::MAX,
        });
        for index in 0..self.chips.len() + self.others.len() {
            let front = self.front(&wire, index);
            wire.fronts.push(front);
        }
        wire.monitor.t_sp = wire.widest_filter();
        wire
    }

    /// The front end of a device of this number, chips first, on lines as they are.
    fn front(&self, wire: &WireState, index: usize) -> Front {
        let (timing, limits) = match self.chips.get(index) {
            Some(chip) => (timing(chip), chip.grade().ac),
            None => {
                let t_aa = (0, FOREIGN.t_aa_max.into());
                (Timing { t_aa, t_sp: FOREIGN.t_sp_max.into(), timeout_ns: 0 }, FOREIGN)
            }
        };
        let checker = Checker::new(&wire.config, limits, wire.scl.level);
        let rng = self.rng.clone().fork(0xB175 ^ (index as u64) << 32);
        Front::new(timing, checker, rng, wire.sda.level, wire.scl.level)
    }

    /// A chip or a foreign device hangs on the lines from now on; what hangs there already goes on undisturbed.
    pub(crate) fn hang_on_wire(&mut self, index: usize) {
        let Some(mut wire) = self.wire.take() else { return };
        let front = self.front(&wire, index);
        wire.fronts.insert(index, front);
        wire.monitor.t_sp = wire.widest_filter();
        self.wire = Some(wire);
    }

    /// L1: the rise time against the limit of the bus mode.
    fn check_rise(&mut self, config: &WireConfig) {
        let (limit_ns, measured_ns) = (config.rise_max_ns, config.rise_ns());
        if measured_ns > u64::from(limit_ns) {
            let parameter = crate::timing::TimingParameter::Rise;
            self.report_timing(None, alloc::vec![Violation { at_ns: self.now, parameter, limit_ns, measured_ns }]);
        }
    }

    /// L1: the current through a pull-up while its line is low, against what pins sink. Asked at each START.
    pub(crate) fn check_pull_up(&mut self, at_ns: u64, config: &WireConfig) {
        let drop_uv = u64::from(self.supply_mv.saturating_sub(WireConfig::LOW_MAX_MV)) * 1000;
        let current_ua = drop_uv / u64::from(config.pull_up_ohm.max(1));
        let sink_ua = config.sink_ua();
        if current_ua > sink_ua {
            self.detectors.pull_up(at_ns, config.pull_up_ohm, current_ua, sink_ua);
        }
    }

    /// Line faults of the script that are not over yet, as changes of the lines in time.
    fn line_faults_ahead(&self) -> Vec<LineFault> {
        let mut line_faults = Vec::new();
        for fault in self.fault_script() {
            let (line, from, until, spike) = match *fault {
                Fault::Spike { line, at_ns, lasts_ns } => (line, at_ns, at_ns.saturating_add(lasts_ns), true),
                Fault::SdaLow { from_ns, until_ns } => (Line::Sda, from_ns, until_ns, false),
                Fault::SclLow { from_ns, until_ns } => (Line::Scl, from_ns, until_ns, false),
                _ => continue,
            };
            if until > self.now && until > from {
                line_faults.push(LineFault { at: from.max(self.now), line, begins: true, spike });
                line_faults.push(LineFault { at: until, line, begins: false, spike });
            }
        }
        line_faults.sort_by_key(|fault| fault.at);
        line_faults
    }

    pub(crate) fn load_line_faults(&mut self) {
        let line_faults = self.line_faults_ahead();
        if let Some(wire) = &mut self.wire {
            wire.line_faults = line_faults;
        }
    }

    /// Line faults end now: those that have not begun never do, and the lines are again what their drivers want.
    pub(crate) fn clear_line_faults(&mut self) {
        let Some(mut wire) = self.wire.take() else { return };
        wire.line_faults.clear();
        for line in [Line::Scl, Line::Sda] {
            self.rewire(&mut wire, line, false);
            let Wired { pulled, level, crosses, .. } = *wire.wired(line);
            let spiked = level == pulled && crosses == u64::MAX;
            if spiked {
                self.cross(&mut wire, line, !pulled, false);
            }
        }
        self.wire = Some(wire);
    }

    /// The supply has changed: other AC limits hold, chips without supply let go of SDA, lines without supply are low.
    pub(crate) fn rewire_supply(&mut self) {
        let Some(mut wire) = self.wire.take() else { return };
        for (front, chip) in wire.fronts.iter_mut().zip(&self.chips) {
            let Timing { t_aa, t_sp, .. } = timing(chip);
            (front.t_aa, front.t_sp) = (t_aa, t_sp);
            front.checker.set_limits(chip.grade().ac);
            if chip.supply_mv < chip.model.supply.read_min_mv {
                front.reset();
            }
        }
        if self.supply_mv == 0 {
            wire.monitor.forget();
        }
        wire.monitor.t_sp = wire.widest_filter();
        self.rewire(&mut wire, Line::Sda, false);
        self.rewire(&mut wire, Line::Scl, false);
        self.wire = Some(wire);
    }
}

//! The lines of the bus, moved from event to event.

use alloc::format;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::detector::Finding;
use crate::event::{ChipId, EventKind, Line, Note};
use crate::fault::{Fault, FaultKind};
use crate::hazard::Hazard;
use crate::model::AcLimits;
use crate::timing::TimingParameter;
use crate::wire::WireConfig;
use crate::wire::front::Front;
use crate::wire::limits::Checker;
use crate::wire::monitor::Monitor;
use crate::wire::state::{LineFault, WireState, Wired};
use crate::world::World;

/// SDA low with SCL high for this long, by a chip in the middle of a byte, is no slow clock but a controller that left.
const LEFT_ALONE_NS: u64 = 1_000_000;

/// The AC limits of a chip at its supply.
pub(crate) fn limits_of(chip: &Chip) -> AcLimits {
    chip.grade().or(chip.model.speed.first()).map_or(AcLimits::FAST, |grade| grade.ac)
}

impl World {
    pub(crate) fn lay_wire(&mut self, config: WireConfig) {
        let chips = self.chips.iter().enumerate().map(|(i, chip)| (Some(ChipId(i)), limits_of(chip)));
        let limits: Vec<(Option<ChipId>, AcLimits)> = chips.collect();
        let mut fronts: Vec<Front> = self
            .chips
            .iter()
            .zip(&limits)
            .map(|(chip, (_, ac))| {
                Front::new(u64::from(ac.t_aa_max), u64::from(ac.t_sp_max), chip.model.bus_timeout_ns)
            })
            .collect();
        fronts.extend(self.others.iter().map(|_| Front::new(300, 50, 0)));
        let widest = fronts.iter().map(|front| front.t_sp).max().unwrap_or(0);
        self.wire = Some(alloc::boxed::Box::new(WireState {
            config,
            sda: Wired::RELEASED,
            scl: Wired::RELEASED,
            fronts,
            monitor: Monitor::new(widest),
            checker: Checker::new(&config, limits),
            line_faults: Vec::new(),
            waves: Vec::new(),
            left_alone_at: u64::MAX,
        }));
        self.load_line_faults();
    }

    /// Line faults of the script become changes of the lines in time.
    pub(crate) fn load_line_faults(&mut self) {
        let Some(faults) = self.fault_script() else { return };
        let mut line_faults = Vec::new();
        for fault in faults {
            let (line, from, until, spike) = match fault {
                Fault::Spike { line, at_ns, lasts_ns } => (line, at_ns, at_ns.saturating_add(lasts_ns), true),
                Fault::SdaLow { from_ns, until_ns } => (Line::Sda, from_ns, until_ns, false),
                Fault::SclLow { from_ns, until_ns } => (Line::Scl, from_ns, until_ns, false),
                _ => continue,
            };
            line_faults.push(LineFault { at: from, line, begins: true, spike });
            line_faults.push(LineFault { at: until, line, begins: false, spike });
        }
        line_faults.sort_by_key(|fault| fault.at);
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

    pub(crate) fn line_level(&self, line: Line) -> bool {
        self.wire.as_ref().is_none_or(|wire| match line {
            Line::Sda => wire.sda.level,
            Line::Scl => wire.scl.level,
        })
    }

    /// The controller pulls a line low or releases it.
    pub(crate) fn drive_line(&mut self, line: Line, low: bool) {
        let Some(mut wire) = self.wire.take() else { return };
        let wired = wire.wired(line);
        if wired.controller != low {
            wired.controller = low;
            self.rewire(&mut wire, line, true);
        }
        self.wire = Some(wire);
        self.run_to(self.now);
    }

    /// Works out what the drivers of a line want together, and when it will be seen.
    fn rewire(&mut self, wire: &mut WireState, line: Line, by_controller: bool) {
        let by_chip = line == Line::Sda && wire.fronts.iter().any(|front| front.pulls);
        let (release_ns, fall_ns) = (wire.config.release_ns(), u64::from(wire.config.fall_ns));
        let held = self.holds_line(line);
        let powered = self.supply_mv > 0;
        let now = self.now;
        let wired = wire.wired(line);
        let pulled = wired.controller || by_chip || held || !powered;
        if pulled == wired.pulled {
            return;
        }
        wired.pulled = pulled;
        wired.by_controller = by_controller;
        let crosses = now + if pulled { fall_ns } else { release_ns };
        wired.crosses = if wired.level == pulled { crosses } else { u64::MAX };
    }

    /// The next thing at the wire level that is due by `time`; returns whether there was one.
    pub(crate) fn wire_step(&mut self, time: u64) -> bool {
        let Some(wire) = &self.wire else { return false };
        let at = wire.due();
        if at > time {
            return false;
        }
        let Some(mut wire) = self.wire.take() else { return false };
        self.now = self.now.max(at);
        self.wire_event(&mut wire, at);
        self.wire = Some(wire);
        true
    }

    /// Lines first and SCL before SDA, then the devices in the same order, the monitor last.
    fn wire_event(&mut self, wire: &mut WireState, at: u64) {
        if wire.line_faults.first().is_some_and(|fault| fault.at <= at) {
            let fault = wire.line_faults.remove(0);
            self.hit(FaultKind::LineHeld);
            if fault.spike {
                let level = wire.wired(fault.line).pulled == fault.begins;
                self.cross(wire, fault.line, level, false);
            } else {
                self.rewire(wire, fault.line, false);
            }
        } else if wire.scl.crosses <= at {
            let level = !wire.scl.pulled;
            wire.scl.crosses = u64::MAX;
            self.cross(wire, Line::Scl, level, true);
        } else if wire.sda.crosses <= at {
            let (level, by_controller) = (!wire.sda.pulled, wire.sda.by_controller);
            wire.sda.crosses = u64::MAX;
            self.cross(wire, Line::Sda, level, by_controller);
        } else if let Some(index) = (0..wire.fronts.len()).find(|&i| wire.fronts[i].due() <= at) {
            self.front_event(wire, index, at);
        } else if wire.monitor.scl.due(wire.monitor.t_sp) <= at {
            self.monitor_edge(wire, Line::Scl);
        } else if wire.monitor.sda.due(wire.monitor.t_sp) <= at {
            self.monitor_edge(wire, Line::Sda);
        } else {
            self.note_held_sda(wire);
        }
    }

    fn cross(&mut self, wire: &mut WireState, line: Line, level: bool, by_controller: bool) {
        let now = self.now;
        if wire.wired(line).level == level {
            return;
        }
        wire.wired(line).level = level;
        if self.trace.is_some() {
            wire.waves.push((now, line, level));
        }
        if line == Line::Scl {
            wire.left_alone_at = if level { now + LEFT_ALONE_NS } else { u64::MAX };
        }
        wire.checker.cross(now, line, level, by_controller);
        for front in &mut wire.fronts {
            match line {
                Line::Sda => front.sda.see(now, level),
                Line::Scl => front.scl.see(now, level),
            }
        }
        match line {
            Line::Sda => wire.monitor.sda.see(now, level),
            Line::Scl => wire.monitor.scl.see(now, level),
        }
        self.report_timing(wire);
    }

    fn front_event(&mut self, wire: &mut WireState, index: usize, at: u64) {
        let chips = self.chips.len();
        let front = &mut wire.fronts[index];
        let t_sp = front.t_sp;
        if let Some((due, low)) = front.next_pull
            && due <= at
        {
            (front.pulls, front.next_pull) = (low, None);
            self.rewire(wire, Line::Sda, false);
            return;
        }
        let line = if front.scl.due(t_sp) <= at {
            Line::Scl
        } else if front.sda.due(t_sp) <= at {
            Line::Sda
        } else {
            self.time_out(wire, index);
            return;
        };
        if index < chips {
            front.edge(line, &mut self.chips[index]);
            self.hear_notes();
        } else {
            front.edge(line, &mut self.others[index - chips]);
        }
    }

    /// L6: SCL was low for too long.
    fn time_out(&mut self, wire: &mut WireState, index: usize) {
        debug_assert!(wire.fronts[index].timed_out(self.now));
        wire.fronts[index].reset();
        if let Some(chip) = self.chips.get_mut(index) {
            chip.say(self.now, Note::TimedOut);
            chip.forget_transfer();
        }
        self.hear_notes();
        self.rewire(wire, Line::Sda, false);
    }

    /// The supply has changed: other AC limits hold, chips without supply let go of SDA, lines without supply are low.
    pub(crate) fn rewire_supply(&mut self) {
        let Some(mut wire) = self.wire.take() else { return };
        for (i, (front, chip)) in wire.fronts.iter_mut().zip(&self.chips).enumerate() {
            let ac = limits_of(chip);
            (front.t_aa, front.t_sp) = (u64::from(ac.t_aa_max), u64::from(ac.t_sp_max));
            wire.checker.set_limits(ChipId(i), ac);
            if chip.supply_mv < chip.model.supply.read_min_mv {
                front.reset();
            }
        }
        wire.monitor.t_sp = wire.fronts.iter().map(|front| front.t_sp).max().unwrap_or(0);
        self.rewire(&mut wire, Line::Sda, false);
        self.rewire(&mut wire, Line::Scl, false);
        self.wire = Some(wire);
    }

    /// L5: a chip in the middle of a byte holds SDA, and SCL has been high for long.
    fn note_held_sda(&mut self, wire: &mut WireState) {
        wire.left_alone_at = u64::MAX;
        for (i, front) in wire.fronts.iter().enumerate().take(self.chips.len()) {
            if front.pulls && front.drives() {
                self.chips[i].say(self.now, Note::HoldsSda);
            }
        }
        self.hear_notes();
    }

    /// The world as it will be once every edge counts that the drivers of the lines have made so far, if they make no more;
    /// `None` if all of them count already. What is looked at there leaves this world alone.
    pub(crate) fn decided(&self) -> Option<Self> {
        let until = self.wire.as_ref()?.decided_at()?;
        let mut ahead = self.clone();
        while ahead.wire_step(until) {}
        ahead.now = self.now;
        ahead.hear_notes();
        Some(ahead)
    }

    fn report_timing(&mut self, wire: &mut WireState) {
        for found in core::mem::take(&mut wire.checker.found) {
            let (chip, parameter) = (found.chip, found.parameter);
            let (limit_ns, measured_ns) = (found.limit_ns, found.measured_ns);
            self.emit(found.at_ns, EventKind::Timing { chip, parameter, limit_ns, measured_ns });
            if let (Some(ChipId(i)), TimingParameter::Low | TimingParameter::High) = (chip, parameter) {
                let text =
                    format!("{}: {parameter} is {measured_ns} ns, limit {limit_ns} ns", self.chips[i].model.name);
                let at_ns = found.at_ns;
                self.detectors.report_once(Finding { chip, at_ns, hazard: Hazard::Overclock, text });
            }
        }
    }

    /// A device that hangs on the wire from now on.
    pub(crate) fn extend_wire(&mut self) {
        if let Some(config) = self.wire.as_ref().map(|wire| wire.config) {
            self.lay_wire(config);
        }
    }
}

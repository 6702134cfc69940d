//! The lines of the bus, moved from event to event.

use alloc::vec::Vec;

use crate::event::{ChipId, EventKind, Line, Note};
use crate::fault::FaultKind;
use crate::wire::front::Front;
use crate::wire::limits::Violation;
use crate::wire::state::WireState;
use crate::world::World;

/// SDA low with SCL high for this long, by a chip in the middle of a byte, is not a slow clock but a controller that left.
const LEFT_ALONE_NS: u64 = 1_000_000;

impl World {
    pub(crate) fn line_level(&self, line: Line) -> bool {
        self.wire.as_ref().is_none_or(|wire| match line {
            Line::Sda => wire.sda.level,
            Line::Scl => wire.scl.level,
        })
    }

    /// The controller pulls a line low or releases it.
    pub(crate) fn drive_line(&mut self, line: Line, low: bool) {
        let Some(mut wire) = self.wire.take_if(|wire| wire.wired(line).controller != low) else { return };
        wire.wired(line).controller = low;
        self.rewire(&mut wire, line, true);
        let at_once = wire.wired(line).crosses <= self.now;
        self.wire = Some(wire);
        if at_once {
            self.run_to(self.now);
        }
    }

    /// Works out what the drivers of a line want together, and when it will be seen.
    pub(super) fn rewire(&mut self, wire: &mut WireState, line: Line, by_controller: bool) {
        let by_chip = match line {
            Line::Sda => wire.fronts.iter().any(|front| front.pulls),
            Line::Scl => wire.fronts.iter().any(Front::holds_scl),
        };
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

    pub(super) fn cross(&mut self, wire: &mut WireState, line: Line, level: bool, by_controller: bool) {
        let now = self.now;
        if wire.wired(line).level == level {
            return;
        }
        wire.wired(line).level = level;
        if self.trace.is_some() {
            self.lines.edge(now, line, level);
        }
        if line == Line::Scl {
            wire.left_alone_at = if level { now + LEFT_ALONE_NS } else { u64::MAX };
        }
        for front in &mut wire.fronts {
            match line {
                Line::Sda => {
                    front.sda.see(now, level);
                    front.by_controller = by_controller;
                }
                Line::Scl => front.scl.see(now, level),
            }
        }
        match line {
            Line::Sda => {
                wire.monitor.sda.see(now, level);
                wire.monitor.by_controller = by_controller;
            }
            Line::Scl => wire.monitor.scl.see(now, level),
        }
    }

    fn front_event(&mut self, wire: &mut WireState, index: usize, at: u64) {
        let chips = self.chips.len();
        let front = &mut wire.fronts[index];
        let t_sp = front.t_sp;
        if front.pull_changes_at <= at {
            (front.pulls, front.pull_changes_at) = (!front.pulls, u64::MAX);
            self.rewire(wire, Line::Sda, false);
            return;
        }
        if front.holds_scl_until <= at {
            front.holds_scl_until = u64::MAX;
            self.rewire(wire, Line::Scl, false);
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
            front.edge(line, &mut self.chips[index], self.overclock_faults);
            if front.checker.has_found() {
                let found = front.checker.found();
                self.report_timing(Some(index), found);
            }
            self.hear_notes();
        } else {
            // A foreign device tells nothing.
            front.edge(line, &mut self.others[index - chips], false);
            front.checker.found();
            if front.holds_scl() {
                self.rewire(wire, Line::Scl, false);
            }
        }
    }

    /// L6: SCL was low for too long.
    fn time_out(&mut self, wire: &mut WireState, index: usize) {
        wire.fronts[index].reset();
        if let Some(chip) = self.chips.get_mut(index) {
            chip.say(self.now, Note::TimedOut);
            chip.forget_transfer();
        }
        self.hear_notes();
        self.rewire(wire, Line::Sda, false);
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

    /// What a checker found, as events and incidents; `index` is that of a chip, `None` for the bus mode.
    pub(crate) fn report_timing(&mut self, index: Option<usize>, found: Vec<Violation>) {
        for Violation { at_ns, parameter, limit_ns, measured_ns } in found {
            let chip = index.map(ChipId);
            self.emit(at_ns, EventKind::Timing { chip, parameter, limit_ns, measured_ns });
            let name = index.map(|i| (ChipId(i), self.chips[i].model.name.as_str()));
            self.detectors.timing(at_ns, name, parameter, limit_ns, measured_ns);
        }
    }
}

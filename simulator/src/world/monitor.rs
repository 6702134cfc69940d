//! What the observer at the lines writes down: conditions and bytes, as the byte level would.

use crate::event::{EventKind, Line};
use crate::wire::monitor::Monitor;
use crate::wire::state::WireState;
use crate::world::World;

impl World {
    pub(crate) fn monitor_edge(&mut self, wire: &mut WireState, line: Line) {
        match line {
            Line::Scl => {
                let began = wire.monitor.scl.take();
                self.check_mode(wire, began, line, wire.monitor.scl.level);
                if wire.monitor.scl.level { self.monitor_rise(wire) } else { monitor_fall(&mut wire.monitor, began) }
            }
            Line::Sda => {
                let began = wire.monitor.sda.take();
                self.check_mode(wire, began, line, wire.monitor.sda.level);
                if wire.monitor.scl.level {
                    if !wire.monitor.sda.level {
                        self.check_pull_up(began, &wire.config);
                    }
                    self.monitor_condition(&mut wire.monitor, began);
                }
            }
        }
    }

    /// The limits of the bus mode.
    fn check_mode(&mut self, wire: &mut WireState, at: u64, line: Line, level: bool) {
        let by_controller = line == Line::Scl || wire.monitor.by_controller;
        if let Some(checker) = &mut wire.monitor.checker {
            checker.cross(at, line, level, by_controller);
            let found = checker.found();
            self.report_timing(None, found);
        }
    }

    fn monitor_condition(&mut self, monitor: &mut Monitor, at: u64) {
        self.hear_notes();
        (monitor.bits, monitor.shift) = (0, 0);
        if monitor.sda.level {
            if monitor.in_transfer {
                self.stop_seen(at);
            }
            monitor.in_transfer = false;
        } else {
            if self.trace.is_some() {
                self.lines.transfer(at, None);
            }
            self.start_seen(at, monitor.in_transfer);
            (monitor.in_transfer, monitor.expects_address, monitor.reading) = (true, true, false);
        }
    }

    fn monitor_rise(&mut self, wire: &mut WireState) {
        let monitor = &mut wire.monitor;
        if !monitor.in_transfer {
            return;
        }
        if monitor.bits < 8 {
            monitor.shift = monitor.shift << 1 | u8::from(monitor.sda.level);
            monitor.bits += 1;
            return;
        }
        monitor.bits = 9;
        let (byte, acked, at) = (monitor.shift, !monitor.sda.level, monitor.begin_ns);
        if core::mem::take(&mut monitor.expects_address) {
            monitor.reading = byte & 1 == 1 && acked;
            self.responders.clear();
            let chips = self.chips.len();
            self.responders.extend((0..chips).filter(|&i| wire.fronts[i].answers()));
            for (other, front) in self.others.iter_mut().zip(&wire.fronts[chips..]) {
                other.selected = front.answers();
            }
            self.hear_notes();
            self.ledger.refused_unseen.extend(self.refused_in_access.drain(..).map(|(chip, _)| chip));
            self.after_address(at, byte);
        } else if monitor.reading {
            self.segment.read = true;
            self.emit(at, EventKind::Read { byte, acked });
        } else {
            self.segment.wrote(byte, acked);
            self.emit(at, EventKind::Write { byte, acked });
        }
    }
}

fn monitor_fall(monitor: &mut Monitor, at: u64) {
    if monitor.bits == 9 || monitor.bits == 0 {
        (monitor.bits, monitor.shift, monitor.begin_ns) = (0, 0, at);
    }
}

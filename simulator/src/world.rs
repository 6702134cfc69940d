//! Everything behind a rig: bus, chips, clock, supply, trace, detectors, ledger.

mod faults;
mod lay;
mod lines;
mod monitor;
mod traffic;

use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::detector::Detectors;
use crate::detector::wrong_family::OtherFamily;
use crate::event::{ChipId, Event, EventKind, Line, Note};
use crate::fault::{BusFaults, FaultHit};
use crate::foreign::Other;
use crate::ledger::Ledger;
use crate::rng::Rng;
use crate::segment::Segment;
use crate::time::{ClockPlan, END_NS};
use crate::trace::log::LineLog;
use crate::trace::polls::EventLog;
use crate::wire::limits::Violation;
use crate::wire::state::WireState;

/// The state of a rig.
#[derive(Debug, Clone)]
pub(crate) struct World {
    pub(crate) now: u64,
    pub(crate) plan: ClockPlan,
    pub(crate) scl_hz: u32,
    pub(crate) supply_mv: u32,
    /// The supply when the trace began, for waveforms.
    #[cfg(feature = "std")]
    pub(crate) traced_supply_mv: u32,
    /// Supply values to come, by time.
    pub(crate) supply_ahead: VecDeque<(u64, u32)>,
    pub(crate) chips: Vec<Chip>,
    pub(crate) others: Vec<Other>,
    /// Parts of another family: where they sit.
    pub(crate) silent: Vec<(u8, OtherFamily)>,
    /// Between START and STOP.
    pub(crate) in_transfer: bool,
    /// Chips that acknowledged the current device address.
    pub(crate) responders: Vec<usize>,
    /// A chip keeps SDA low although nobody clocks.
    pub(crate) held_by: Option<usize>,
    pub(crate) segment: Segment,
    pub(crate) trace: Option<EventLog>,
    pub(crate) lines: LineLog,
    pub(crate) detectors: Detectors,
    pub(crate) ledger: Ledger,
    pub(crate) overclock_faults: bool,
    pub(crate) faults: Option<BusFaults>,
    pub(crate) fault_hits: Vec<FaultHit>,
    /// Chips that refused the access under way because they are busy, with the time left.
    pub(crate) refused_in_access: Vec<(usize, u64)>,
    /// On whose behalf the controller works now.
    pub(crate) client: u64,
    pub(crate) rng: Rng,
    pub(crate) wire: Option<Box<WireState>>,
    /// Calls of embedded-hal controllers.
    pub(crate) calls: u64,
    /// Of them those that took the short way.
    pub(crate) short_calls: u64,
    /// A STOP that comes after the call has returned.
    pub(crate) stop_due: Option<u64>,
    pub(crate) controller_hangs: bool,
}

impl World {
    pub(crate) fn new(scl_hz: u32, supply_mv: u32, seed: u64) -> Self {
        Self {
            now: 0,
            plan: ClockPlan::for_scl_hz(scl_hz),
            scl_hz,
            supply_mv,
            #[cfg(feature = "std")]
            traced_supply_mv: supply_mv,
            supply_ahead: VecDeque::new(),
            chips: Vec::new(),
            others: Vec::new(),
            silent: Vec::new(),
            in_transfer: false,
            responders: Vec::new(),
            held_by: None,
            segment: Segment::default(),
            trace: Some(EventLog::default()),
            lines: LineLog::default(),
            detectors: Detectors::default(),
            ledger: Ledger::default(),
            overclock_faults: false,
            faults: None,
            fault_hits: Vec::new(),
            refused_in_access: Vec::new(),
            client: 0,
            rng: Rng::new(seed),
            wire: None,
            calls: 0,
            short_calls: 0,
            stop_due: None,
            controller_hangs: false,
        }
    }

    /// The trace begins anew, or is no longer kept.
    pub(crate) fn restart_trace(&mut self, on: bool) {
        self.trace = on.then(EventLog::default);
        #[cfg(feature = "std")]
        {
            self.traced_supply_mv = self.supply_mv;
            self.chips.iter_mut().for_each(Chip::trace_begins);
        }
        let levels = [Line::Scl, Line::Sda].map(|line| (line, self.line_level(line)));
        self.lines.clear(self.now, levels);
    }

    /// Every event so far, by time.
    pub(crate) fn events(&self) -> Vec<Event> {
        let mut events = self.trace.as_ref().map(EventLog::events).unwrap_or_default();
        // The end of a write cycle is written down when somebody looks: among events of one instant it stands last.
        let ends = |event: &Event| match event.kind {
            EventKind::Chip { chip, note: Note::CycleEnd { .. } } => chip.0 + 1,
            _ => 0,
        };
        events.sort_by_key(|event| (event.at_ns, ends(event)));
        events
    }

    pub(crate) fn emit(&mut self, at_ns: u64, kind: EventKind) {
        if let Some(trace) = &mut self.trace {
            trace.push(Event { at_ns, kind });
        }
    }

    /// Lets time pass.
    ///
    /// # Panics
    ///
    /// If virtual time would end before that.
    pub(crate) fn pass(&mut self, ns: u64) {
        let until = self.now.checked_add(ns).filter(|until| *until <= END_NS);
        let until = until.unwrap_or_else(|| panic!("a delay of {ns} ns is beyond the end of virtual time"));
        self.run_to(until);
    }

    /// Moves the clock to `time`, applying supply changes on the way.
    #[inline]
    pub(crate) fn run_to(&mut self, time: u64) {
        if self.supply_ahead.is_empty() && self.wire.is_none() && self.stop_due.is_none() {
            self.now = self.now.max(time);
        } else {
            self.run_through_events(time);
        }
    }

    fn run_through_events(&mut self, time: u64) {
        if let Some(due) = self.stop_due
            && due <= time
        {
            self.stop_due = None;
            self.run_to(due);
            self.stop_edge();
        }
        while let Some(&(at, mv)) = self.supply_ahead.front()
            && at <= time
        {
            self.supply_ahead.pop_front();
            while self.wire_step(at) {}
            self.now = self.now.max(at);
            self.apply_supply(mv);
        }
        while self.wire_step(time) {}
        self.now = self.now.max(time);
    }

    pub(crate) fn apply_supply(&mut self, mv: u32) {
        self.supply_mv = mv;
        self.emit(self.now, EventKind::Supply { mv });
        for chip in &mut self.chips {
            chip.set_supply(self.now, mv);
        }
        if self.held_by.is_some_and(|i| mv < self.chips[i].model.supply.read_min_mv) {
            self.held_by = None;
        }
        self.rewire_supply();
        self.hear_notes();
    }

    /// Off for a millisecond, on again, power-up time waited for. The controller starts anew too.
    pub(crate) fn restore_supply(&mut self, mv: u32) {
        self.supply_ahead.clear();
        self.run_to(self.now + 1_000_000);
        self.in_transfer = false;
        self.stop_due = None;
        self.controller_hangs = false;
        self.responders.clear();
        self.segment.close();
        self.apply_supply(mv);
        let ready = self.chips.iter().map(|chip| chip.ready_ns).max().unwrap_or(0);
        self.run_to(ready);
    }

    /// Write cycles that are over have changed memory: done when somebody looks, and the same whenever that is.
    pub(crate) fn settle(&mut self) {
        for chip in &mut self.chips {
            chip.settle(self.now);
        }
        self.hear_notes();
    }

    /// Hands what the chips said to trace, detectors and ledger.
    #[inline]
    pub(crate) fn hear_notes(&mut self) {
        if self.chips.iter().any(|chip| !chip.notes.is_empty()) {
            self.hear_all_notes();
        }
    }

    fn hear_all_notes(&mut self) {
        for index in 0..self.chips.len() {
            if self.chips[index].notes.is_empty() {
                continue;
            }
            let mut notes = core::mem::take(&mut self.chips[index].notes);
            for (at_ns, note) in notes.drain(..) {
                self.hear(index, at_ns, note);
            }
            self.chips[index].notes = notes;
            for kind in core::mem::take(&mut self.chips[index].disturb.hits) {
                self.hit(kind);
            }
        }
    }

    fn hear(&mut self, index: usize, at_ns: u64, note: Note) {
        let chip = ChipId(index);
        if let Note::WpTiming { parameter, limit_ns, measured_ns } = note {
            return self.report_timing(Some(index), alloc::vec![Violation { at_ns, parameter, limit_ns, measured_ns }]);
        }
        if let Note::BusyRefused { left_ns, .. } = note {
            self.refused_in_access.push((index, left_ns));
        }
        self.emit(at_ns, EventKind::Chip { chip, note });
        self.segment.hear(index, note);
        self.ledger.hear(index, note);
        self.detectors.hear(&self.chips[index].model.name, chip, at_ns, note);
    }
}

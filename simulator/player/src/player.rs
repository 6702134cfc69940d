//! The bench in the middle of a program: one action after the other.

use alloc::collections::BTreeSet;
use alloc::vec;
use alloc::vec::Vec;

use pagewise_simulator::{ChipId, Event, EventKind, Incident, Level, Note, Rig};

use crate::board::Bench;
use crate::controller::Controller;
use crate::outcome::{Outcome, on_the_bus};
use crate::program::{Action, Instruction, Place, Program};

/// Steps that are played; a program that does not end ends here.
pub const MOST_STEPS: usize = 50_000;
/// The same where every edge is played.
const MOST_STEPS_OF_EDGES: usize = 3_000;
/// Virtual time after which nothing more is played.
const MOST_NS: u64 = 1_000_000_000_000_000;
/// Times that one poll asks.
const MOST_POLLS: usize = 2_000;
/// Longer than any write cycle.
const LONG_NS: u64 = 1_000_000_000;

/// The bench in the middle of a program.
pub(crate) struct Player {
    pub(crate) rig: Rig,
    pub(crate) chip: ChipId,
    controller: Controller,
    edges: bool,
    at: usize,
    passed: Vec<u32>,
    pub(crate) steps: usize,
    refused: bool,
    open: bool,
    fresh: bool,
    address: u8,
    wrote: Vec<u8>,
    read: usize,
    told: Vec<Incident>,
    known_events: usize,
    pub(crate) reads: Vec<(u8, Option<u8>)>,
    /// Pages that write cycles went to.
    pub(crate) pages: BTreeSet<u32>,
}

impl Player {
    pub(crate) fn new(bench: &Bench, program: &Program) -> Self {
        let (rig, chip) = bench.set_up();
        let told = Vec::new();
        Self {
            controller: Controller::new(bench, &rig),
            edges: bench.board.lines.is_some(),
            rig,
            chip,
            at: 0,
            passed: vec![0; program.loops],
            steps: 0,
            refused: false,
            open: false,
            fresh: false,
            address: 0,
            wrote: Vec::new(),
            read: 0,
            told,
            known_events: 0,
            reads: Vec::new(),
            pages: BTreeSet::new(),
        }
    }

    pub(crate) fn too_long(&self) -> bool {
        let most = if self.edges { MOST_STEPS_OF_EDGES } else { MOST_STEPS };
        self.steps >= most || self.rig.now_ns() > MOST_NS
    }

    fn next(&mut self, program: &Program) -> Option<(Action, Place)> {
        loop {
            match *program.instructions.get(self.at)? {
                Instruction::Do(action, place) => {
                    self.at += 1;
                    return Some((action, program.places[place]));
                }
                Instruction::Again { to, times, slot } => {
                    self.passed[slot] += 1;
                    if times.is_some_and(|times| self.passed[slot] >= times) {
                        self.passed[slot] = 0;
                        self.at += 1;
                    } else {
                        self.at = to;
                    }
                }
            }
        }
    }

    /// One step; `None` when the program is over.
    pub(crate) fn step(&mut self, program: &Program) -> Option<Outcome> {
        let (action, place) = self.next(program)?;
        self.steps += 1;
        let (skipped, surprise) = self.act(action);
        let events = self.events();
        let bus = events.iter().filter_map(|event| on_the_bus(event.kind)).collect();
        let notes: Vec<Note> = events.iter().filter_map(|event| self.note(event)).collect();
        for note in &notes {
            if let Note::CycleStart { page, .. } = note {
                self.pages.insert(*page);
            }
        }
        let incidents = match action {
            Action::End => self.rig.finish(),
            _ => self.rig.incidents_from(self.told.len()),
        };
        let incidents: Vec<Incident> = incidents.into_iter().filter(|incident| !self.told.contains(incident)).collect();
        self.told.extend(incidents.iter().cloned());
        Some(Outcome { action, place, skipped, bus, notes, incidents, surprise, at_ns: self.rig.now_ns() })
    }

    fn note(&self, event: &Event) -> Option<Note> {
        match event.kind {
            EventKind::Chip { chip, note } if chip == self.chip => Some(note),
            _ => None,
        }
    }

    /// Events since the last step. At edges the trace is kept, since an edge may still be undecided.
    fn events(&mut self) -> Vec<Event> {
        let events = self.rig.trace();
        if self.edges {
            let known = core::mem::replace(&mut self.known_events, events.len()).min(events.len());
            return events[known..].to_vec();
        }
        self.rig.set_trace(true);
        events
    }

    /// Does it; says whether it was skipped, and whether it came otherwise than the program takes for granted.
    fn act(&mut self, action: Action) -> (bool, bool) {
        match action {
            Action::Start { again } => return (!self.start(again), false),
            Action::Address { control, expects } => {
                self.address = control >> 1;
                return self.send(control, expects);
            }
            Action::Send { byte, expects } => {
                self.wrote.push(byte);
                return self.send(byte, expects);
            }
            Action::Receive { expects, ack } => return self.receive(expects, ack),
            Action::Stop => return (!self.stop(), false),
            Action::Wait(ns) => self.rig.advance_ns(ns),
            Action::Until(ns) => self.rig.advance_ns(ns.saturating_sub(self.rig.now_ns())),
            Action::Poll { control, at_most_ns } => return (false, !self.poll(control, at_most_ns)),
            Action::Reset(bits) => {
                self.controller.abandon(bits);
                self.forget();
            }
            Action::Recover => {
                self.controller.recover();
                self.forget();
            }
            Action::Supply(mv) => self.supply(mv),
            Action::Cut => {
                let mv = self.rig.supply_mv();
                self.supply(0);
                self.supply(mv);
            }
            Action::WriteProtect(level) => {
                self.rig.set_wp(self.chip, level.map_or(Level::Open, Level::from_bit));
            }
            Action::SclRate(hz) => self.rig.set_scl_hz(hz),
            Action::End => self.rig.advance_ns(LONG_NS),
        }
        (false, false)
    }

    fn supply(&mut self, mv: u32) {
        if self.rig.supply_mv() == 0 && mv > 0 {
            self.rig.restore_supply_mv(mv);
        } else {
            self.rig.set_supply_mv(mv);
        }
        if mv == 0 || self.rig.supply_mv() == 0 {
            self.controller.anew();
            self.forget();
        }
    }

    fn forget(&mut self) {
        (self.refused, self.open, self.fresh, self.read) = (false, false, false, 0);
        self.wrote.clear();
    }

    fn start(&mut self, again: bool) -> bool {
        if again && self.refused {
            return false;
        }
        if !again {
            self.forget();
        }
        self.open = self.controller.start();
        // Whoever cannot send a START sends nothing of the transfer.
        self.refused = !self.open;
        self.fresh = true;
        self.open
    }

    fn send(&mut self, byte: u8, expects: Option<bool>) -> (bool, bool) {
        if self.refused {
            return (true, false);
        }
        let acked = self.controller.send(byte);
        self.refused = !acked;
        (false, expects.is_some_and(|expects| expects != acked))
    }

    fn receive(&mut self, expects: Option<u8>, ack: bool) -> (bool, bool) {
        self.read += 1;
        if self.refused {
            self.reads.push((0xFF, expects));
            return (true, expects.is_some());
        }
        let got = self.controller.receive(ack);
        self.reads.push((got, expects));
        (false, expects.is_some_and(|expects| expects != got))
    }

    fn stop(&mut self) -> bool {
        let stopped = self.open && {
            let asked = (self.address, self.wrote.as_slice(), self.read);
            self.controller.stop(self.refused.then_some(asked))
        };
        self.forget();
        stopped
    }

    fn poll(&mut self, control: u8, at_most_ns: u64) -> bool {
        let until = self.rig.now_ns() + at_most_ns;
        for _ in 0..MOST_POLLS {
            self.forget();
            if !self.controller.start() {
                return false;
            }
            let acked = self.controller.send(control);
            if acked && control & 1 == 1 {
                self.controller.receive(false);
            }
            self.controller.stop(None);
            if acked || self.rig.now_ns() >= until {
                return acked;
            }
            // Asking without a pause would be thousands of steps at a high rate.
            self.rig.advance_ns(20_000);
        }
        false
    }
}

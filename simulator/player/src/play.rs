//! A program on a bench, step by step.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use pagewise_simulator::{ChipId, Event, EventKind, Incident, Level, Loss, Note, Rig};
use serde::Serialize;

use crate::Bench;
use crate::board::Stored;
use crate::controller::Controller;
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
/// Lost bytes that are explained.
const EXPLAINED: usize = 4_096;

/// Who drives SDA.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Who {
    /// The controller.
    Controller,
    /// The chip, or another device.
    Chip,
}

/// What was on the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case", tag = "is")]
pub enum BusEvent {
    /// START.
    Start,
    /// START without a STOP before it.
    Restart,
    /// STOP.
    Stop,
    /// Eight bits and an acknowledge bit.
    Byte {
        /// Its value.
        byte: u8,
        /// The byte after a START.
        address: bool,
        /// Who drives the eight bits.
        by: Who,
        /// The acknowledge bit was 0.
        acked: bool,
    },
}

/// What one step did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// What the program wanted.
    pub action: Action,
    /// Where that stands.
    pub place: Place,
    /// It was not done: the transfer had been refused before.
    pub skipped: bool,
    /// What was on the bus.
    pub bus: Vec<BusEvent>,
    /// What the chip noted.
    pub notes: Vec<Note>,
    /// What the detectors said.
    pub incidents: Vec<Incident>,
    /// What came is not what the program takes for granted.
    pub surprise: bool,
    /// Time after it.
    pub at_ns: u64,
}

impl Outcome {
    /// Whether something happened that one wants to look at: a detector, the chip's own doing, a surprise, a refusal.
    #[must_use]
    pub fn is_event(&self) -> bool {
        let refused = |event: &BusEvent| matches!(event, BusEvent::Byte { by: Who::Controller, acked: false, .. });
        !self.incidents.is_empty() || !self.notes.is_empty() || self.surprise || self.bus.iter().any(refused)
    }
}

/// How the program ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// By itself.
    Finished,
    /// It was given up.
    TooLong,
}

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
            let known = std::mem::replace(&mut self.known_events, events.len()).min(events.len());
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

fn on_the_bus(kind: EventKind) -> Option<BusEvent> {
    let byte = |byte, address, by, acked| Some(BusEvent::Byte { byte, address, by, acked });
    match kind {
        EventKind::Start => Some(BusEvent::Start),
        EventKind::RepeatedStart => Some(BusEvent::Restart),
        EventKind::Stop => Some(BusEvent::Stop),
        EventKind::Address { address, read, acked } => {
            byte(address << 1 | u8::from(read), true, Who::Controller, acked)
        }
        EventKind::Write { byte: sent, acked } => byte(sent, false, Who::Controller, acked),
        EventKind::Read { byte: sent, acked } => byte(sent, false, Who::Chip, acked),
        _ => None,
    }
}

/// A program played to its end.
pub struct Run {
    bench: Bench,
    program: Program,
    log: Vec<Outcome>,
    end: End,
    lost: Vec<u32>,
    losses: Vec<Loss>,
    reads: Vec<(u8, Option<u8>)>,
    cursor: RefCell<Player>,
}

impl Run {
    /// Plays it whole.
    ///
    /// # Panics
    /// If the model contradicts itself; see `ChipModel::check`.
    #[must_use]
    pub fn new(bench: &Bench, program: &Program) -> Self {
        let mut player = Player::new(bench, program);
        let mut log = Vec::new();
        while !player.too_long()
            && let Some(outcome) = player.step(program)
        {
            log.push(outcome);
        }
        let over = matches!(log.last(), Some(Outcome { action: Action::End, .. }));
        let end = if over { End::Finished } else { End::TooLong };
        let memory = player.rig.memory_as_read(player.chip);
        let there = |at: u32| memory.get(at as usize).copied();
        let lost =
            meant(&bench.board.holds, &bench.board.means).into_iter().filter(|&(at, byte)| there(at) != Some(byte));
        Self {
            lost: lost.map(|(at, _)| at).collect(),
            losses: player.rig.explain_at_most(EXPLAINED),
            reads: std::mem::take(&mut player.reads),
            bench: bench.clone(),
            program: program.clone(),
            log,
            end,
            cursor: RefCell::new(Player::new(bench, program)),
        }
    }

    /// What each step did.
    #[must_use]
    pub fn log(&self) -> &[Outcome] {
        &self.log
    }

    /// How it ended.
    #[must_use]
    pub const fn end(&self) -> End {
        self.end
    }

    /// The bench that it was played on.
    #[must_use]
    pub const fn bench(&self) -> &Bench {
        &self.bench
    }

    /// What was played.
    #[must_use]
    pub const fn program(&self) -> &Program {
        &self.program
    }

    /// Offsets that do not hold what they should at the end.
    #[must_use]
    pub fn lost(&self) -> &[u32] {
        &self.lost
    }

    /// Where lost bytes went, from the simulator's ledger.
    #[must_use]
    pub fn losses(&self) -> &[Loss] {
        &self.losses
    }

    /// Bytes that reads returned, each with what the program takes it to be.
    #[must_use]
    pub fn reads(&self) -> &[(u8, Option<u8>)] {
        &self.reads
    }

    /// Reads that came otherwise than the program takes for granted.
    #[must_use]
    pub fn wrong_reads(&self) -> usize {
        self.reads.iter().filter(|(got, expects)| expects.is_some_and(|expects| expects != *got)).count()
    }

    /// The bench after so many steps, handed to `look`.
    pub(crate) fn at<T>(&self, steps: usize, look: impl FnOnce(&Player) -> T) -> T {
        let player = &mut *self.cursor.borrow_mut();
        let steps = steps.min(self.log.len());
        if player.steps > steps {
            *player = Player::new(&self.bench, &self.program);
        }
        while player.steps < steps && player.step(&self.program).is_some() {}
        look(player)
    }

    /// Memory after so many steps, as it reads.
    #[must_use]
    pub fn memory_at(&self, steps: usize) -> Vec<u8> {
        self.at(steps, |player| player.rig.memory_as_read(player.chip))
    }
}

/// What should be stored at the end, byte by byte; later entries stand above earlier ones.
pub(crate) fn meant(holds: &[Stored], means: &[Stored]) -> BTreeMap<u32, u8> {
    let all = holds.iter().chain(means);
    all.flat_map(|stored| (stored.offset..).zip(stored.bytes.iter().copied())).collect()
}

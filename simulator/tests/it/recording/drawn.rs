//! A bus drawn by hand: every change of its lines at a time that a test knows.

use std::path::PathBuf;

use pagewise_simulator::Line;
use pagewise_simulator::recording::{Bus, BusByte, Edge, ReadOptions, Recording, Role};
use tempfile::TempDir;

use super::files;

/// How long the parts of a clock last, in nanoseconds.
#[derive(Clone, Copy)]
pub struct Pace {
    pub low: u64,
    pub high: u64,
    /// From falling SCL to a change of SDA by the controller, and by a device.
    pub controller: u64,
    pub device: u64,
}

impl Pace {
    pub const fn cycle(&self) -> u64 {
        self.low + self.high
    }

    /// A byte whose first bit SCL falls for at `begin_ns`.
    pub fn byte(&self, role: Role, value: u8, acked: bool, begin_ns: u64) -> BusByte {
        let rises_ns = std::array::from_fn(|bit| begin_ns + bit as u64 * self.cycle() + self.low);
        BusByte { role, value, acked, begin_ns, rises_ns, end_ns: begin_ns + 9 * self.cycle() }
    }
}

/// Both lines are high from 0 to 10 us.
pub struct Drawing {
    pub now: u64,
    pub pace: Pace,
    levels: (bool, bool),
    /// Time, SCL, SDA.
    pub changes: Vec<(u64, bool, bool)>,
}

impl Drawing {
    pub fn new() -> Self {
        let pace = Pace { low: 5_000, high: 3_000, controller: 1_000, device: 2_000 };
        Self { now: 10_000, pace, levels: (true, true), changes: vec![(0, true, true)] }
    }

    pub fn wait(&mut self, ns: u64) {
        self.now += ns;
    }

    pub fn lines(&mut self, scl: bool, sda: bool) {
        if self.levels != (scl, sda) {
            self.levels = (scl, sda);
            // What changes at one time is one sample.
            self.changes.retain(|(at, ..)| *at < self.now);
            self.changes.push((self.now, scl, sda));
        }
    }

    pub fn scl(&mut self, level: bool) {
        self.lines(level, self.levels.1);
    }

    pub fn sda(&mut self, level: bool) {
        self.lines(self.levels.0, level);
    }

    /// SDA falls now, SCL `hold` later.
    pub fn start(&mut self, hold: u64) {
        self.sda(false);
        self.wait(hold);
        self.scl(false);
    }

    /// SCL has just fallen; one clock.
    pub fn bit(&mut self, level: bool, by_device: bool) {
        let pace = self.pace;
        let data = if by_device { pace.device } else { pace.controller };
        self.wait(data);
        self.sda(level);
        self.wait(pace.low - data);
        self.scl(true);
        self.wait(pace.high);
        self.scl(false);
    }

    fn nine(&mut self, value: u8, acked: bool, by_device: bool) {
        (0..8).rev().for_each(|bit| self.bit(value >> bit & 1 == 1, by_device));
        self.bit(!acked, !by_device);
    }

    /// A byte that the controller drives.
    pub fn byte(&mut self, value: u8, acked: bool) {
        self.nine(value, acked, false);
    }

    /// Bytes that are acknowledged.
    pub fn bytes(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.byte(*byte, true));
    }

    /// A byte that a device drives.
    pub fn answer(&mut self, value: u8, acked: bool) {
        self.nine(value, acked, true);
    }

    fn set(&mut self, sda: bool, setup: u64) {
        self.wait(self.pace.controller);
        self.sda(sda);
        self.wait(self.pace.low - self.pace.controller);
        self.scl(true);
        self.wait(setup);
    }

    /// SCL has just fallen; SDA rises `setup` after SCL.
    pub fn stop(&mut self, setup: u64) {
        self.set(false, setup);
        self.sda(true);
    }

    /// SCL has just fallen; SDA falls `setup` after SCL has risen.
    pub fn restart(&mut self, setup: u64, hold: u64) {
        self.set(true, setup);
        self.start(hold);
    }

    /// A table of the changes, and a last row for now.
    pub fn table(&self, folder: &TempDir) -> PathBuf {
        let (scl, sda) = self.levels;
        let last = (self.now, scl, sda);
        let rows = self.changes.iter().chain([&last]);
        let rows: String = rows.map(|&(at, scl, sda)| format!("{at},{},{}\n", u8::from(scl), u8::from(sda))).collect();
        files::write(folder, "drawn.csv", &("Time [ns],SCL,SDA\n".to_owned() + &rows))
    }

    /// A dump with samples of 1 us.
    pub fn open_as_samples(&self, folder: &TempDir) -> (Recording, Bus) {
        let rows = self.changes.iter().map(|&(at, scl, sda)| format!("#{at} {}! {}\"\n", u8::from(scl), u8::from(sda)));
        let head = "$comment drawn at 1 MHz $end $timescale 1 ns $end $var wire 1 ! SCL $end $var wire 1 \" SDA $end";
        let text = format!("{head} $enddefinitions $end\n{}#{}\n", rows.collect::<String>(), self.now);
        open(&files::write(folder, "drawn.vcd", &text), 0)
    }

    /// A dump with the supply: on from the beginning, then as said.
    pub fn open_with_supply(&self, folder: &TempDir, supply: &[(u64, bool)]) -> (Recording, Bus) {
        let lines = self.changes.iter().map(|&(at, scl, sda)| (at, format!("{}! {}\"", u8::from(scl), u8::from(sda))));
        let supply = [(0, true)].iter().chain(supply).map(|&(at, on)| (at, format!("{}#", u8::from(on))));
        let mut rows: Vec<(u64, String)> = lines.chain(supply).collect();
        rows.sort();
        let rows: String = rows.iter().map(|(at, row)| format!("#{at} {row}\n")).collect();
        let head = "$timescale 1 ns $end $var wire 1 ! SCL $end $var wire 1 \" SDA $end $var wire 1 # VCC $end";
        open(&files::write(folder, "drawn.vcd", &format!("{head} $enddefinitions $end\n{rows}#{}\n", self.now)), 50)
    }

    pub fn open(&self, folder: &TempDir, filter_ns: u64) -> (Recording, Bus) {
        open(&self.table(folder), filter_ns)
    }
}

pub fn open(path: &std::path::Path, filter_ns: u64) -> (Recording, Bus) {
    let options = ReadOptions { filter_ns, ..ReadOptions::default() };
    let recording = Recording::open(path, &options).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    (recording, bus)
}

/// Every edge of a file, without a spike filter.
pub fn edges(path: &std::path::Path) -> Vec<Edge> {
    let (recording, bus) = open(path, 0);
    recording.edges(&bus).unwrap().map(Result::unwrap).collect()
}

/// The edges of these changes (time, SCL, SDA; the first is how they begin): data change before SCL rises and after it
/// falls.
pub fn edges_of(changes: &[(u64, bool, bool)], end_ns: u64) -> Vec<Edge> {
    let mut edges = vec![Edge::Begin { scl: changes[0].1, sda: changes[0].2 }];
    for pair in changes.windows(2) {
        let ((_, scl_was, sda_was), (at_ns, scl, sda)) = (pair[0], pair[1]);
        let together = scl != scl_was && sda != sda_was;
        let clock = Edge::Line { at_ns, line: Line::Scl, level: scl, together };
        let data = Edge::Line { at_ns, line: Line::Sda, level: sda, together };
        match (scl != scl_was, sda != sda_was) {
            (true, true) if scl => edges.extend([data, clock]),
            (true, true) => edges.extend([clock, data]),
            (true, false) => edges.push(clock),
            (false, true) => edges.push(data),
            (false, false) => {}
        }
    }
    edges.push(Edge::End { at_ns: end_ns });
    edges
}

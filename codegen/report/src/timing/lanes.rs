//! Lays the items of a transaction out in rows and draws the two lines from the simulator's waves.

use std::fmt::Write;

use pagewise_base::words::counted;
use pagewise_simulator::trace::waves;
use pagewise_simulator::{ClockPlan, Event, Line};
use serde::Serialize;

use super::item::{Item, ItemKind};

/// Width of the picture, in its own units.
pub(super) const WIDTH: u32 = 720;

const LEFT: u32 = 34;
const BYTE: u32 = 126;
const EDGE: u32 = 30;
const GAP: u32 = 84;
/// Heights inside a row: the high levels of both lines, and how far down low is.
const SCL_HIGH: u32 = 44;
const SDA_HIGH: u32 = 72;
const SWING: u32 = 18;
/// Height of a row, and what a row with notes needs besides.
const ROW: u32 = 116;
const NOTES: u32 = 16;

/// A line of the picture.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Row {
    pub(super) y: u32,
    pub(super) height: u32,
    /// Paths of SCL, one per unbroken stretch.
    scl: Vec<String>,
    /// Paths of SDA.
    sda: Vec<String>,
    slots: Vec<Slot>,
}

/// The place of one item.
#[derive(Debug, Clone, Serialize)]
struct Slot {
    /// `start`, `byte`, `stop` or `gap`.
    kind: &'static str,
    x: u32,
    width: u32,
    middle: u32,
    role: String,
    /// `0x20`; `28 bytes` for a gap; empty for START and STOP.
    value: String,
    bits: Vec<Label>,
    acked: bool,
    from_chip: bool,
    /// What a chip noted; empty for nothing.
    note: String,
    /// Where the note's text stands so that it stays inside the picture.
    note_x: u32,
    anchor: &'static str,
}

#[derive(Debug, Clone, Serialize)]
struct Label {
    x: u32,
    text: String,
}

pub(super) struct Lanes {
    plan: ClockPlan,
    edges: Vec<(u64, Line, bool)>,
}

impl Lanes {
    pub(super) fn new(events: &[Event], plan: ClockPlan) -> Self {
        Self { plan, edges: waves::from_events(events, plan) }
    }

    pub(super) fn rows(&self, items: &[Item]) -> Vec<Row> {
        let mut rows: Vec<Row> = Vec::new();
        let mut x = WIDTH;
        // Stretches of neighbours: time from and to, x from and to.
        let mut pieces: Vec<Vec<(u64, u64, u32, u32)>> = Vec::new();
        for item in items {
            let width = width(item.kind);
            if x + width > WIDTH {
                x = LEFT;
                let y = rows.iter().map(|row| row.height).sum();
                rows.push(Row { y, height: ROW, scl: Vec::new(), sda: Vec::new(), slots: Vec::new() });
                pieces.push(Vec::new());
            }
            if let (Some(row), Some(pieces)) = (rows.last_mut(), pieces.last_mut()) {
                row.height = row.height.max(ROW + if item.note.is_some() { NOTES } else { 0 });
                row.slots.push(slot(item, x, width));
                if let Some((from, to)) = self.span(item) {
                    pieces.push((from, to, x, x + width));
                }
            }
            x += width;
        }
        for (row, pieces) in rows.iter_mut().zip(&pieces) {
            for stretch in stretches(pieces) {
                row.scl.push(self.path(Line::Scl, SCL_HIGH, stretch));
                row.sda.push(self.path(Line::Sda, SDA_HIGH, stretch));
            }
        }
        rows
    }

    /// The time that an item takes on the lines.
    fn span(&self, item: &Item) -> Option<(u64, u64)> {
        let ClockPlan { period_ns, low_ns, high_ns } = self.plan;
        let at = item.at_ns;
        match item.kind {
            ItemKind::Start { repeated: false } => Some((at.saturating_sub(low_ns), at + high_ns)),
            ItemKind::Start { repeated: true } => Some((at.saturating_sub(period_ns + low_ns), at + high_ns)),
            ItemKind::Byte { .. } => Some((at, at + self.plan.byte_ns())),
            ItemKind::Stop => Some((at.saturating_sub(period_ns), at + high_ns)),
            ItemKind::Gap(_) => None,
        }
    }

    fn path(&self, line: Line, high: u32, pieces: &[(u64, u64, u32, u32)]) -> String {
        let y = |level: bool| if level { high } else { high + SWING };
        let mut path = String::new();
        for (index, &(from, to, left, right)) in pieces.iter().enumerate() {
            let mine = || self.edges.iter().filter(|(_, of, _)| *of == line);
            let before = if index == 0 { mine().rfind(|(at, _, _)| *at < from) } else { None };
            // Both lines rest high.
            if index == 0 {
                let _ = write!(path, "M{left} {}", y(before.is_none_or(|(_, _, level)| *level)));
            }
            for &(at, _, level) in mine().filter(|(at, _, _)| (from..to).contains(at)) {
                let x = f64::from(left) + (at - from) as f64 * f64::from(right - left) / (to - from) as f64;
                let _ = write!(path, "H{x:.1}V{}", y(level));
            }
            let _ = write!(path, "H{right}");
        }
        path
    }
}

/// Pieces that follow each other without a gap between them.
fn stretches(pieces: &[(u64, u64, u32, u32)]) -> impl Iterator<Item = &[(u64, u64, u32, u32)]> {
    pieces.chunk_by(|a, b| a.3 == b.2)
}

const fn width(kind: ItemKind) -> u32 {
    match kind {
        ItemKind::Byte { .. } => BYTE,
        ItemKind::Start { repeated: true } => 2 * EDGE,
        ItemKind::Start { .. } | ItemKind::Stop => EDGE,
        ItemKind::Gap(_) => GAP,
    }
}

fn slot(item: &Item, x: u32, width: u32) -> Slot {
    let middle = x + width / 2;
    let note = item.note.clone().unwrap_or_default();
    // The note is cut where it would leave the picture.
    let (anchor, note_x) = if middle > WIDTH * 2 / 3 { ("end", x + width) } else { ("start", x) };
    let mut slot = Slot {
        kind: "gap",
        x,
        width,
        middle,
        role: item.role.clone(),
        value: String::new(),
        bits: Vec::new(),
        acked: false,
        from_chip: false,
        note,
        note_x,
        anchor,
    };
    match item.kind {
        ItemKind::Start { repeated } => {
            slot.kind = "start";
            slot.value = if repeated { "Sr" } else { "S" }.to_owned();
        }
        ItemKind::Stop => {
            slot.kind = "stop";
            slot.value = "P".to_owned();
        }
        ItemKind::Gap(count) => slot.value = counted(count, "byte"),
        ItemKind::Byte { value, acked, from_chip, .. } => {
            slot.kind = "byte";
            slot.value = format!("{value:#04x}");
            (slot.acked, slot.from_chip) = (acked, from_chip);
            let bit = |index: u32| x + (2 * index + 1) * width / 18;
            slot.bits = (0..8).map(|at| Label { x: bit(at), text: (value >> (7 - at) & 1).to_string() }).collect();
            slot.bits.push(Label { x: bit(8), text: if acked { "A" } else { "N" }.to_owned() });
        }
    }
    slot
}

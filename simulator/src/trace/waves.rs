//! The lines over time, drawn from the events of the byte level.

use alloc::vec::Vec;

use crate::event::{Event, EventKind, Line};
use crate::time::ClockPlan;

/// Level changes of SDA and SCL: time in nanoseconds, line, level. Both lines begin high.
///
/// SDA is drawn to change in the middle of the low part of SCL, whoever drives it.
#[must_use]
pub fn from_events(events: &[Event], plan: ClockPlan) -> Vec<(u64, Line, bool)> {
    changes(Vec::new(), events.iter().map(|event| (*event, plan)))
}

/// The same, drawn among edges that were recorded, each event with the clock of its transfer.
pub(crate) fn changes(
    recorded: Vec<(u64, Line, bool)>,
    events: impl Iterator<Item = (Event, ClockPlan)>,
) -> Vec<(u64, Line, bool)> {
    let mut drawn = Drawn { edges: recorded };
    for (event, plan) in events {
        drawn.event(event, plan);
    }
    drawn.changes()
}

struct Drawn {
    edges: Vec<(u64, Line, bool)>,
}

impl Drawn {
    fn event(&mut self, event: Event, plan: ClockPlan) {
        let at = event.at_ns;
        match event.kind {
            EventKind::Start => self.start(at, plan),
            EventKind::RepeatedStart => {
                let begin = at.saturating_sub(plan.period_ns + plan.low_ns);
                self.sda(begin, plan, true);
                self.edges.push((begin + plan.period_ns, Line::Scl, true));
                self.start(at, plan);
            }
            EventKind::Address { address, read, acked } => {
                self.byte(at, plan, address << 1 | u8::from(read), acked);
            }
            EventKind::Write { byte, acked } | EventKind::Read { byte, acked } => self.byte(at, plan, byte, acked),
            EventKind::Stop => {
                let begin = at.saturating_sub(plan.period_ns);
                self.sda(begin, plan, false);
                self.edges.push((begin + plan.low_ns, Line::Scl, true));
                self.edges.push((at, Line::Sda, true));
            }
            _ => {}
        }
    }

    fn sda(&mut self, low_begins: u64, plan: ClockPlan, level: bool) {
        self.edges.push((low_begins + plan.low_ns / 2, Line::Sda, level));
    }

    fn start(&mut self, at: u64, plan: ClockPlan) {
        self.edges.push((at, Line::Sda, false));
        self.edges.push((at + plan.high_ns, Line::Scl, false));
    }

    fn byte(&mut self, begin: u64, plan: ClockPlan, byte: u8, acked: bool) {
        for i in 0..9_u64 {
            let level = if i == 8 { !acked } else { byte >> (7 - i) & 1 == 1 };
            let bit = begin + i * plan.period_ns;
            self.sda(bit, plan, level);
            self.edges.push((bit + plan.low_ns, Line::Scl, true));
            self.edges.push((bit + plan.period_ns, Line::Scl, false));
        }
    }

    /// Only what changes, by time.
    fn changes(mut self) -> Vec<(u64, Line, bool)> {
        self.edges.sort_by_key(|(at, _, _)| *at);
        let (mut sda, mut scl) = (true, true);
        self.edges.retain(|&(_, line, level)| {
            let now = if line == Line::Sda { &mut sda } else { &mut scl };
            let changes = *now != level;
            *now = level;
            changes
        });
        self.edges
    }
}

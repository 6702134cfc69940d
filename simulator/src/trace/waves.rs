//! The lines over time, drawn from the events of the byte level.

use alloc::vec::Vec;

use crate::event::{Event, EventKind, Line};
use crate::time::ClockPlan;

/// Level changes of SDA and SCL: time in nanoseconds, line, level. Both lines begin high.
///
/// SDA is drawn to change in the middle of the low part of SCL, whoever drives it.
#[must_use]
pub fn from_events(events: &[Event], plan: ClockPlan) -> Vec<(u64, Line, bool)> {
    let mut drawn = Drawn { plan, edges: Vec::new() };
    for event in events {
        let at = event.at_ns;
        match event.kind {
            EventKind::Start => drawn.start(at),
            EventKind::RepeatedStart => {
                let begin = at.saturating_sub(plan.period_ns + plan.low_ns);
                drawn.sda(begin, true);
                drawn.edges.push((begin + plan.period_ns, Line::Scl, true));
                drawn.start(at);
            }
            EventKind::Address { address, read, acked } => drawn.byte(at, address << 1 | u8::from(read), acked),
            EventKind::Write { byte, acked } | EventKind::Read { byte, acked } => drawn.byte(at, byte, acked),
            EventKind::Stop => {
                let begin = at.saturating_sub(plan.period_ns);
                drawn.sda(begin, false);
                drawn.edges.push((begin + plan.low_ns, Line::Scl, true));
                drawn.edges.push((at, Line::Sda, true));
            }
            _ => {}
        }
    }
    drawn.changes()
}

struct Drawn {
    plan: ClockPlan,
    edges: Vec<(u64, Line, bool)>,
}

impl Drawn {
    fn sda(&mut self, low_begins: u64, level: bool) {
        self.edges.push((low_begins + self.plan.low_ns / 2, Line::Sda, level));
    }

    fn start(&mut self, at: u64) {
        self.edges.push((at, Line::Sda, false));
        self.edges.push((at + self.plan.high_ns, Line::Scl, false));
    }

    fn byte(&mut self, begin: u64, byte: u8, acked: bool) {
        for i in 0..9_u64 {
            let level = if i == 8 { !acked } else { byte >> (7 - i) & 1 == 1 };
            let bit = begin + i * self.plan.period_ns;
            self.sda(bit, level);
            self.edges.push((bit + self.plan.low_ns, Line::Scl, true));
            self.edges.push((bit + self.plan.period_ns, Line::Scl, false));
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

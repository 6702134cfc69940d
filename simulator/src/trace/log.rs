//! The one log of the lines, for both levels.

use alloc::vec::Vec;

use crate::event::{Event, Line};
use crate::time::ClockPlan;
use crate::trace::waves;

/// What happened to the lines: recorded where edges were made, to be drawn where only bytes went over the bus.
#[derive(Debug, Clone, Default)]
pub(crate) struct LineLog {
    edges: Vec<(u64, Line, bool)>,
    /// From which transfer on the events of the trace are to be drawn, with which clock; `None` where edges were recorded.
    drawn: Vec<(u64, Option<ClockPlan>)>,
}

impl LineLog {
    /// A line has another level.
    pub(crate) fn edge(&mut self, at_ns: u64, line: Line, level: bool) {
        self.edges.push((at_ns, line, level));
    }

    /// A transfer begins: at the byte level with this clock, at the wire level with none.
    pub(crate) fn transfer(&mut self, at_ns: u64, plan: Option<ClockPlan>) {
        if self.drawn.last().is_none_or(|(_, before)| *before != plan) {
            self.drawn.push((at_ns, plan));
        }
    }

    /// Forgets what was; the lines have these levels now.
    pub(crate) fn clear(&mut self, now: u64, levels: [(Line, bool); 2]) {
        self.edges.clear();
        self.edges.extend(levels.iter().filter(|(_, level)| !level).map(|&(line, level)| (now, line, level)));
        self.drawn.drain(..self.drawn.len().saturating_sub(1));
    }

    /// Level changes over time, with the transfers among these events that are to be drawn. Both lines begin high.
    pub(crate) fn waves(&self, events: &[Event]) -> Vec<(u64, Line, bool)> {
        let plan = |at_ns: u64| {
            let begun = self.drawn.partition_point(|(from, _)| *from <= at_ns);
            self.drawn[..begun].last().and_then(|(_, plan)| *plan)
        };
        let planned = events.iter().filter_map(|event| Some((*event, plan(event.at_ns)?)));
        waves::changes(self.edges.clone(), planned)
    }
}

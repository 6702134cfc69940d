//! The trace as it is kept: refused polls that follow each other at one pace are one entry with a number.
//!
//! A program that polls through a write cycle of 5 ms makes some two hundred of them, each four events, and nothing that one
//! says is new in the next but its time. Whatever else repeats like that is kept so too: nothing is lost by it.

use alloc::vec::Vec;

use crate::event::{Event, EventKind, Note};

/// Events of a refused poll: START, the chip's note, the device address, STOP.
const POLL: usize = 4;

/// Events in the order in which they were made.
#[derive(Debug, Clone, Default)]
pub(crate) struct EventLog {
    kept: Vec<Event>,
    runs: Vec<Run>,
}

/// A poll that was repeated.
#[derive(Debug, Clone, Copy)]
struct Run {
    /// Where its first poll is kept.
    at: usize,
    times: u64,
    period_ns: u64,
}

/// The event so much later: of a refusal the time that is left is shorter.
fn later(event: Event, ns: u64) -> Option<Event> {
    let kind = match event.kind {
        EventKind::Chip { chip, note: Note::BusyRefused { read, left_ns } } => {
            EventKind::Chip { chip, note: Note::BusyRefused { read, left_ns: left_ns.checked_sub(ns)? } }
        }
        kind => kind,
    };
    Some(Event { at_ns: event.at_ns.checked_add(ns)?, kind })
}

impl EventLog {
    pub(crate) fn push(&mut self, event: Event) {
        self.kept.push(event);
        if event.kind == EventKind::Stop {
            self.join_polls();
        }
    }

    /// Makes the last poll one of the run before it, if it is.
    fn join_polls(&mut self) {
        let Some(first) = self.kept.len().checked_sub(2 * POLL) else { return };
        let (before, last) = self.kept[first..].split_at(POLL);
        let after_ns = last[0].at_ns.wrapping_sub(before[0].at_ns);
        let run = self.runs.last().copied().filter(|run| run.at == first);
        let run = run.unwrap_or(Run { at: first, times: 1, period_ns: after_ns });
        let joins = run.period_ns.checked_mul(run.times) == Some(after_ns)
            && before.iter().zip(last).all(|(before, last)| later(*before, after_ns) == Some(*last));
        if !joins {
            return;
        }
        self.kept.truncate(first + POLL);
        let longer = Run { times: run.times + 1, ..run };
        match self.runs.last_mut() {
            Some(last) if last.at == first => *last = longer,
            _ => self.runs.push(longer),
        }
    }

    /// Every event, each poll by itself.
    pub(crate) fn events(&self) -> Vec<Event> {
        let (mut events, mut from) = (Vec::with_capacity(self.kept.len()), 0);
        for run in &self.runs {
            events.extend_from_slice(&self.kept[from..run.at]);
            from = run.at + POLL;
            let poll = &self.kept[run.at..from];
            for number in 0..run.times {
                events.extend(poll.iter().filter_map(|event| later(*event, run.period_ns * number)));
            }
        }
        events.extend_from_slice(&self.kept[from..]);
        events
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{ChipId, ChipModel, CycleTime, Rig, RigConfig, Straps};
    use alloc::vec;
    use embedded_hal::i2c::I2c;

    fn poll(at_ns: u64, left_ns: u64) -> [Event; 4] {
        let refused = EventKind::Chip { chip: ChipId(0), note: Note::BusyRefused { read: false, left_ns } };
        let address = EventKind::Address { address: 0x50, read: false, acked: false };
        [(0, EventKind::Start), (20, refused), (5, address), (30, EventKind::Stop)]
            .map(|(after, kind)| Event { at_ns: at_ns + after, kind })
    }

    fn kept(polls: &[[Event; 4]]) -> usize {
        let mut log = EventLog::default();
        polls.iter().flatten().for_each(|event| log.push(*event));
        assert_eq!(log.events(), polls.concat());
        log.kept.len() / POLL
    }

    #[test]
    fn polls_of_one_pace_are_kept_once_and_given_back_one_by_one() {
        let even = |count: u64, from: u64| (0..count).map(move |n| poll(from + n * 50, 1_000_000 - from - n * 50));
        assert_eq!(kept(&even(1000, 0).collect::<Vec<_>>()), 1);
        // Another pace, another time left, another kind of event between: each begins anew.
        assert_eq!(kept(&even(10, 0).chain(even(10, 517)).collect::<Vec<_>>()), 2);
        let mut odd: Vec<_> = even(9, 0).collect();
        odd[4][1].kind = EventKind::Chip { chip: ChipId(1), note: Note::BusyRefused { read: false, left_ns: 7 } };
        assert_eq!(kept(&odd), 3);
        assert_eq!(kept(&[poll(0, 100), poll(50, 50), poll(101, 0)]), 2);
        assert_eq!(kept(&[poll(0, 100), poll(50, 51)]), 2);
    }

    #[test]
    fn a_program_that_polls_has_the_trace_that_it_always_had() {
        let run = |cut: bool| {
            let rig = Rig::new(RigConfig::default());
            let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
            rig.set_write_cycle(chip, CycleTime::Max);
            let (mut bus, mut events) = (rig.bus(), vec![]);
            for page in 0..3_u8 {
                bus.write(0x50, &[0, page * 32, 1, 2]).unwrap();
                while bus.write(0x50, &[0, 0]).is_err() {
                    if cut {
                        events.extend(rig.trace());
                        rig.set_trace(true);
                    }
                }
            }
            events.extend(rig.trace());
            (events, rig.world.borrow().trace.as_ref().map_or(0, |log| log.kept.len()))
        };
        let ((whole, kept), (pieces, _)) = (run(false), run(true));
        assert!(whole == pieces, "polls one by one");
        assert!(whole.len() > 1500 && kept < 60, "{} events, {kept} kept", whole.len());
    }
}

//! A trace played into a rig: the same bus traffic at the same times.

use core::fmt;

use crate::event::{Event, EventKind};
use crate::rig::Rig;

/// What a replay did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Replayed {
    /// Transfers, from START to STOP.
    pub transfers: u64,
    /// Bytes that were read with another value than the trace says, or acknowledged otherwise.
    pub differences: u64,
}

/// A trace that cannot be played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum BadTrace {
    /// The event of this index lies before the rig's clock, or before the event in front of it.
    OutOfOrder(usize),
    /// The event of this index is a byte, repeated START or STOP outside of a transfer, or a START inside of one.
    OutOfPlace(usize),
    /// The event of this index names a chip that the rig does not have.
    NoSuchChip(usize),
    /// The trace ends inside a transfer: it was cut off.
    CutOff,
}

impl fmt::Display for BadTrace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfOrder(i) => write!(f, "event {i} is out of order"),
            Self::OutOfPlace(i) => write!(f, "event {i} is out of place"),
            Self::NoSuchChip(i) => write!(f, "event {i} names a chip that the rig does not have"),
            Self::CutOff => f.write_str("the trace ends inside a transfer"),
        }
    }
}

impl core::error::Error for BadTrace {}

impl Rig {
    /// Plays a trace into this rig, at the SCL rate of the rig, which should be that of the trace. Events inside chips are
    /// left out: the chips of this rig make their own.
    ///
    /// # Errors
    ///
    /// [`BadTrace`]; nothing is played.
    pub fn replay(&self, events: &[Event]) -> Result<Replayed, BadTrace> {
        self.check_trace(events)?;
        let mut done = Replayed::default();
        for event in events {
            self.replay_event(event, &mut done);
        }
        Ok(done)
    }

    fn check_trace(&self, events: &[Event]) -> Result<(), BadTrace> {
        let (mut now, mut open) = (0, false);
        let chips = self.world.borrow().chips.len();
        for (i, event) in events.iter().enumerate() {
            if event.at_ns < now {
                return Err(BadTrace::OutOfOrder(i));
            }
            now = event.at_ns;
            let fits = match event.kind {
                EventKind::Start => !core::mem::replace(&mut open, true),
                EventKind::Stop => core::mem::replace(&mut open, false),
                EventKind::RepeatedStart
                | EventKind::Address { .. }
                | EventKind::Write { .. }
                | EventKind::Read { .. } => open,
                EventKind::WriteProtectPin { chip, .. } if chip.0 >= chips => return Err(BadTrace::NoSuchChip(i)),
                _ => true,
            };
            if !fits {
                return Err(BadTrace::OutOfPlace(i));
            }
        }
        if events.first().is_some_and(|first| first.at_ns < self.world.borrow().now) {
            return Err(BadTrace::OutOfOrder(0));
        }
        if open { Err(BadTrace::CutOff) } else { Ok(()) }
    }

    fn replay_event(&self, event: &Event, done: &mut Replayed) {
        if let EventKind::WriteProtectPin { chip, level } = event.kind {
            self.world.borrow_mut().run_to(event.at_ns);
            self.set_wp(chip, level);
            return;
        }
        let world = &mut *self.world.borrow_mut();
        let plan = world.plan;
        // From the instant that the event stands for back to where the controller begins with it.
        let lead = match event.kind {
            EventKind::Start => plan.low_ns,
            EventKind::RepeatedStart => plan.period_ns + plan.low_ns,
            EventKind::Stop => plan.period_ns,
            _ => 0,
        };
        match event.kind {
            EventKind::Timing { .. } | EventKind::Chip { .. } | EventKind::WriteProtectPin { .. } => return,
            _ => world.run_to(event.at_ns.saturating_sub(lead)),
        }
        let same = match event.kind {
            EventKind::Start | EventKind::RepeatedStart => {
                world.start();
                true
            }
            EventKind::Stop => {
                world.stop();
                done.transfers += 1;
                true
            }
            EventKind::Address { address, read, acked } => world.address(address << 1 | u8::from(read)) == acked,
            EventKind::Write { byte, acked } => world.send(byte) == acked,
            EventKind::Read { byte, acked } => world.receive(acked) == byte,
            EventKind::Supply { mv } => {
                world.apply_supply(mv);
                true
            }
            _ => true,
        };
        done.differences += u64::from(!same);
    }
}

//! One transfer of a run as the bus saw it: a bus that traces only there.

use embedded_hal::i2c::{ErrorType, I2c, Operation};
use pagewise_simulator::trace::text::transfers;
use pagewise_simulator::{BusError, Event, EventKind, Quirks, Rig, RigBus};

/// How long before the time of interest the trace goes on: longer than most transfers with what follows them.
pub(super) const TRACED_NS: u64 = 50_000_000;

/// The part of a run that is traced; nothing is sent after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Window {
    /// The trace goes on with the first transfer from then on.
    pub(super) from_ns: u64,
    /// The last transfer is the one that begins by then.
    pub(super) until_ns: u64,
}

impl Window {
    /// A whole run without trace.
    pub(super) const NEVER: Self = Self { from_ns: u64::MAX, until_ns: u64::MAX };
}

/// A controller whose transfers are traced inside a window and left out after it.
pub(super) struct Watched<'r> {
    rig: &'r Rig,
    bus: RigBus,
    window: Window,
    traces: bool,
}

impl<'r> Watched<'r> {
    pub(super) fn new(rig: &'r Rig, quirks: Quirks, window: Window) -> Self {
        Self { rig, bus: rig.bus_with(quirks), window, traces: false }
    }
}

impl ErrorType for Watched<'_> {
    type Error = BusError;
}

impl I2c for Watched<'_> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let now_ns = self.rig.now_ns();
        if now_ns > self.window.until_ns {
            return Ok(());
        }
        if !self.traces && now_ns >= self.window.from_ns {
            self.traces = true;
            self.rig.set_trace(true);
        }
        self.bus.transaction(address, operations)
    }
}

/// The events of the transfer that was on the bus at a time, or of the last before it; `None` if the trace does not
/// reach back to one.
pub(super) fn transfer(events: &[Event], at_ns: u64) -> Option<&[Event]> {
    let start = events.iter().rposition(|event| event.at_ns <= at_ns && event.kind == EventKind::Start)?;
    let stop = events[start..].iter().position(|event| event.kind == EventKind::Stop);
    Some(&events[start..stop.map_or(events.len(), |length| start + length + 1)])
}

/// The events of one transfer as text, cut to a readable length.
pub(super) fn as_text(events: &[Event]) -> Option<String> {
    const MOST_CHARACTERS: usize = 72;
    let text = transfers(events);
    let line: String = text.lines().next()?.trim().chars().take(MOST_CHARACTERS).collect();
    Some(if line.len() < MOST_CHARACTERS { line } else { format!("{line} …") })
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal::delay::DelayNs;
    use pagewise_simulator::{ChipModel, RigConfig, Straps};

    /// Eight page writes with polling, seen through a window.
    fn seen(window: Window) -> Vec<Event> {
        let rig = Rig::new(RigConfig::default());
        rig.set_trace(false);
        rig.attach(ChipModel::example_32_kbit(), Straps::default());
        let mut bus = Watched::new(&rig, Quirks::default(), window);
        for page in 0..8 {
            bus.write(0x50, &[0, page * 32, page, page]).unwrap();
            while bus.write(0x50, &[0, 0]).is_err() {
                rig.delay().delay_us(500);
            }
        }
        rig.trace()
    }

    fn shown(events: &[Event], at_ns: u64) -> Option<String> {
        as_text(transfer(events, at_ns)?)
    }

    #[test]
    fn a_window_shows_the_same_transfer_as_the_whole_trace() {
        let whole = seen(Window { from_ns: 0, until_ns: u64::MAX });
        let starts: Vec<u64> = whole.iter().filter(|e| e.kind == EventKind::Start).map(|e| e.at_ns).collect();
        assert!(starts.len() > 20, "{starts:?}");
        for at_ns in starts.into_iter().flat_map(|start| [start, start + 200_000]) {
            let window = Window { from_ns: at_ns.saturating_sub(1_000_000), until_ns: at_ns };
            let part = seen(window);
            assert!(part.len() < whole.len() / 2);
            assert!(shown(&part, at_ns).is_some());
            assert_eq!(shown(&part, at_ns), shown(&whole, at_ns));
        }
    }

    #[test]
    fn a_window_that_opens_too_late_shows_nothing() {
        let whole = seen(Window { from_ns: 0, until_ns: u64::MAX });
        let first = whole.iter().find(|e| e.kind == EventKind::Start).unwrap().at_ns;
        assert_eq!(shown(&seen(Window { from_ns: first, until_ns: first }), first), None);
    }
}

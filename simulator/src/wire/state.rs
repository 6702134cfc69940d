//! The lines with everything that hangs on them; the world moves them from event to event.

use alloc::vec::Vec;

use crate::event::Line;
use crate::wire::WireConfig;
use crate::wire::front::Front;
use crate::wire::monitor::Monitor;

/// One line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wired {
    /// The controller pulls it low.
    pub(crate) controller: bool,
    /// Somebody pulls it low.
    pub(crate) pulled: bool,
    /// What was last to change it was the controller.
    pub(crate) by_controller: bool,
    /// The level as it is seen.
    pub(crate) level: bool,
    /// When the level will change to what the drivers want.
    pub(crate) crosses: u64,
}

impl Wired {
    pub(crate) const RELEASED: Self =
        Self { controller: false, pulled: false, by_controller: false, level: true, crosses: u64::MAX };
}

/// A line fault begins or ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LineFault {
    pub(crate) at: u64,
    pub(crate) line: Line,
    pub(crate) begins: bool,
    /// The line is inverted for a moment; otherwise it is held low.
    pub(crate) spike: bool,
}

/// The wire level of a rig.
#[derive(Debug, Clone)]
pub(crate) struct WireState {
    pub(crate) config: WireConfig,
    pub(crate) sda: Wired,
    pub(crate) scl: Wired,
    /// One per chip, then one per foreign device.
    pub(crate) fronts: Vec<Front>,
    pub(crate) monitor: Monitor,
    pub(crate) line_faults: Vec<LineFault>,
    /// When SCL will have been high for so long that the controller must have left.
    pub(crate) left_alone_at: u64,
}

impl WireState {
    pub(crate) fn wired(&mut self, line: Line) -> &mut Wired {
        match line {
            Line::Sda => &mut self.sda,
            Line::Scl => &mut self.scl,
        }
    }

    /// The longest spike that any device filters.
    pub(crate) fn widest_filter(&self) -> u64 {
        self.fronts.iter().map(|front| front.t_sp).max().unwrap_or(0)
    }

    /// When something happens next.
    pub(crate) fn due(&self) -> u64 {
        let fronts = self.fronts.iter().map(Front::due).min().unwrap_or(u64::MAX);
        let fault = self.line_faults.first().map_or(u64::MAX, |fault| fault.at);
        let lines = self.scl.crosses.min(self.sda.crosses);
        lines.min(fronts).min(self.monitor.due()).min(fault).min(self.left_alone_at)
    }

    /// When everything that the drivers have done to the lines so far will have counted everywhere, if they do no more;
    /// `None` if it has.
    pub(crate) fn decided_at(&self) -> Option<u64> {
        let ahead = |at: u64| (at != u64::MAX).then_some(at);
        let widest = self.monitor.t_sp;
        let crossings = [self.scl.crosses, self.sda.crosses].into_iter().filter_map(ahead).map(|at| at + widest);
        let fronts = self.fronts.iter().flat_map(|front| [&front.scl, &front.sda].map(|line| line.due(front.t_sp)));
        let monitor = [&self.monitor.scl, &self.monitor.sda].map(|line| line.due(widest));
        crossings.chain(fronts.chain(monitor).filter_map(ahead)).max()
    }
}

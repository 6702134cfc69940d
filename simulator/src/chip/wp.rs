//! The set-up and hold times of WP around the STOP that starts a write cycle (rule W8).

use crate::chip::Chip;
use crate::event::{Level, Note};
use crate::timing::TimingParameter;

/// When WP moved last, and when the last write ended.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct WpTimes {
    moved_ns: Option<u64>,
    stopped_ns: Option<u64>,
    /// With faults on, a time that is not kept makes the chip see the other level, as drawn.
    pub(crate) faulty: bool,
    /// It does so now.
    pub(crate) doubted: bool,
}

impl Chip {
    /// What waveforms begin with.
    #[cfg(feature = "std")]
    pub(crate) fn trace_begins(&mut self) {
        self.began = crate::trace::vcd::Began { busy: self.cycle.is_some(), wp: self.wp_level };
    }

    /// The board moves WP.
    pub(crate) fn set_wp(&mut self, now: u64, level: Level) {
        let before = self.wp_level;
        self.straps.wp = level;
        self.read_wp(now);
        if self.wp_level != before {
            self.wp_moved(now);
        }
        // The first data byte of each write looks anew.
        self.wp_seen_active |= self.wp_active();
    }

    fn wp_moved(&mut self, now: u64) {
        let limit_ns = self.grade().ac.t_hd_wp;
        let stopped = self.wp_times.stopped_ns.take().map(|stopped| now - stopped);
        self.wp_times.moved_ns = Some(now);
        if let Some(measured_ns) = stopped.filter(|held| *held < u64::from(limit_ns)) {
            self.say(now, Note::WpTiming { parameter: TimingParameter::HoldWp, limit_ns, measured_ns });
            let missed = self.wp_times.faulty && self.rng.level();
            if let Some(cycle) = self.cycle.as_mut().filter(|_| missed) {
                // The write is not stored after all.
                cycle.sticks = false;
            }
        }
    }

    /// STOP after data of the array: WP has to have been stable for its set-up time.
    pub(crate) fn look_at_wp(&mut self, now: u64) {
        if self.model.write_protect.pin_range.len == 0 {
            return;
        }
        if let Some(held_ns) = self.wp_times.moved_ns.and_then(|moved| moved.checked_sub(now)).filter(|held| *held > 0)
        {
            // WP has moved after the STOP, which counts only now that the spike filter has let it through.
            self.wp_times.stopped_ns = Some(now);
            self.wp_moved(now + held_ns);
            let seen = self.wp_times.faulty && self.rng.level();
            self.wp_times.doubted = !seen;
            return;
        }
        self.wp_times.stopped_ns = Some(now);
        let limit_ns = self.grade().ac.t_su_wp;
        let stable = self.wp_times.moved_ns.map(|moved| now.saturating_sub(moved));
        if let Some(measured_ns) = stable.filter(|stable| *stable < u64::from(limit_ns)) {
            self.say(now, Note::WpTiming { parameter: TimingParameter::SetupWp, limit_ns, measured_ns });
            self.wp_times.doubted = self.wp_times.faulty && self.rng.level();
        }
    }
}

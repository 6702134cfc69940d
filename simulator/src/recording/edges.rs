//! Edges of the two lines of a bus, behind a filter for spikes.

use crate::event::Line;
use crate::recording::error::RecordingError;
use crate::recording::source::{Sample, Source};

/// A change of a line, or of what surrounds the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// A line has another level. Times are those of the first sample that shows it: the change lies within the sample
    /// interval before.
    Line {
        /// When, in nanoseconds from the start of the recording.
        at_ns: u64,
        /// Which line.
        line: Line,
        /// The level from then on.
        level: bool,
        /// The other line changed in the same sample. Which was first cannot be seen: data are taken to change while the
        /// clock is low.
        together: bool,
    },
    /// The levels with which the recording begins: the first of all edges.
    Begin {
        /// SCL.
        scl: bool,
        /// SDA.
        sda: bool,
    },
    /// The supply was recorded, and is on or off from here on.
    Supply {
        /// When.
        at_ns: u64,
        /// Whether it is on.
        on: bool,
        /// Millivolts, where the recording has them.
        mv: Option<u32>,
    },
    /// The recording ends.
    End {
        /// When.
        at_ns: u64,
    },
}

impl Edge {
    /// When, in nanoseconds from the start of the recording.
    #[must_use]
    pub const fn at_ns(&self) -> u64 {
        match *self {
            Self::Begin { .. } => 0,
            Self::Line { at_ns, .. } | Self::Supply { at_ns, .. } | Self::End { at_ns } => at_ns,
        }
    }
}

/// A level that has not lasted long enough yet.
type Pending = Option<(u64, bool)>;

/// Iterator over the edges of a bus. Pulses shorter than the spike filter are left out and counted.
pub struct Edges {
    source: Source,
    filter_ns: u64,
    scl: bool,
    sda: bool,
    pending_scl: Pending,
    pending_sda: Pending,
    held: Option<Sample>,
    begun: bool,
    over: bool,
    spikes: u64,
    /// Greatest common divisor of the times of all changes.
    grid_ns: u64,
    last_ns: Option<u64>,
}

impl core::fmt::Debug for Edges {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Edges").field("last_ns", &self.last_ns).finish_non_exhaustive()
    }
}

impl Edges {
    pub(crate) fn new(source: Source, filter_ns: u64) -> Self {
        Self {
            source,
            filter_ns,
            scl: true,
            sda: true,
            pending_scl: None,
            pending_sda: None,
            held: None,
            begun: false,
            over: false,
            spikes: 0,
            grid_ns: 0,
            last_ns: None,
        }
    }

    /// Pulses left out so far.
    #[must_use]
    pub fn spikes(&self) -> u64 {
        self.spikes
    }

    /// The sample interval in nanoseconds, rounded up: as the file states it, else the longest one on which all changes so
    /// far lie.
    #[must_use]
    pub fn resolution_ns(&self) -> u64 {
        self.source.interval_ns().unwrap_or(self.grid_ns.max(1))
    }

    /// How much of the file has been read, from 0 to 1.
    #[must_use]
    pub fn progress(&self) -> f64 {
        self.source.progress()
    }

    fn take(&mut self, line: Line, at_ns: u64, level: bool) {
        let filter_ns = self.filter_ns;
        let (now, pending) = match line {
            Line::Scl => (self.scl, &mut self.pending_scl),
            Line::Sda => (self.sda, &mut self.pending_sda),
        };
        match *pending {
            Some((since, was)) if was != level => {
                debug_assert!(at_ns - since < filter_ns);
                *pending = None;
                self.spikes += 1;
            }
            None if level != now => *pending = Some((at_ns, level)),
            _ => {}
        }
    }

    /// The next pending edge that has lasted long enough at `now`.
    fn ripe(&mut self, now: u64) -> Option<Edge> {
        let due = |pending: Pending| pending.map_or(u64::MAX, |(since, _)| since);
        let (scl, sda) = (due(self.pending_scl), due(self.pending_sda));
        let earliest = scl.min(sda);
        if earliest == u64::MAX || earliest.saturating_add(self.filter_ns) > now {
            return None;
        }
        let together = scl == sda;
        // Data change while the clock is low: before it rises, after it falls.
        let scl_falls = self.pending_scl.is_some_and(|(_, level)| !level);
        let line = if scl < sda || (together && scl_falls) { Line::Scl } else { Line::Sda };
        let pending = if line == Line::Scl { &mut self.pending_scl } else { &mut self.pending_sda };
        let (at_ns, level) = pending.take()?;
        match line {
            Line::Scl => self.scl = level,
            Line::Sda => self.sda = level,
        }
        let together = together || self.last_ns == Some(at_ns);
        if self.grid_ns != 1 {
            self.grid_ns = common_divisor(self.grid_ns, at_ns);
        }
        self.last_ns = Some(at_ns);
        Some(Edge::Line { at_ns, line, level, together })
    }

    fn step(&mut self) -> Result<Option<Edge>, RecordingError> {
        loop {
            if self.held.is_none() {
                self.held = Some(self.source.next()?);
            }
            let Some(sample) = self.held else { return Ok(None) };
            let now = if matches!(sample, Sample::End { .. }) { u64::MAX } else { sample.at_ns() };
            if let Some(edge) = self.ripe(now) {
                return Ok(Some(edge));
            }
            self.held = None;
            match sample {
                Sample::Lines { scl, sda, .. } if !self.begun => {
                    (self.begun, self.scl, self.sda) = (true, scl, sda);
                    return Ok(Some(Edge::Begin { scl, sda }));
                }
                Sample::Lines { at_ns, scl, sda } => {
                    self.take(Line::Scl, at_ns, scl);
                    self.take(Line::Sda, at_ns, sda);
                }
                Sample::Supply { at_ns, on, mv } => return Ok(Some(Edge::Supply { at_ns, on, mv })),
                Sample::End { at_ns } => {
                    self.over = true;
                    return Ok(Some(Edge::End { at_ns }));
                }
            }
        }
    }
}

impl Iterator for Edges {
    type Item = Result<Edge, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let step = self.step();
        self.over |= step.is_err();
        step.transpose()
    }
}

fn common_divisor(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

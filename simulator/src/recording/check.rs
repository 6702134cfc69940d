//! Whether there is I2C on two channels, and which of them is the clock.

use std::format;
use std::string::String;

use crate::recording::bus::Bus;
use crate::recording::decode::{BusEvent, Health};
use crate::recording::error::RecordingError;
use crate::recording::source::Chosen;
use crate::recording::{Edge, Events, Recording};

/// Edges that are looked at: enough for a few thousand bytes.
const LOOKED_AT: u64 = 100_000;
/// A clock with parts shorter than this many samples may have lost edges.
const SAMPLES_PER_PART: u64 = 2;

/// What the first part of a recording shows.
fn survey(mut events: Events) -> Result<(Health, Events), RecordingError> {
    loop {
        let health = events.health();
        if health.scl_edges + health.sda_edges > LOOKED_AT {
            return Ok((health, events));
        }
        match events.next().transpose()? {
            None | Some(BusEvent::End { .. }) => return Ok((events.health(), events)),
            Some(_) => {}
        }
    }
}

/// How much the edges look like I2C: whole bytes per START or STOP that lies rightly, none for each that cuts a byte.
fn likeness(health: &Health) -> u64 {
    let conditions = health.starts + health.stops;
    if health.answered == 0 || conditions == 0 || health.cut * 2 > conditions {
        return 0;
    }
    health.bytes * 1000 / conditions
}

/// The two of these channels that look most like SCL and SDA.
pub(crate) fn find_pair(
    recording: &Recording,
    channels: impl Iterator<Item = usize> + Clone,
) -> Option<(usize, usize)> {
    let mut best = None;
    let moves = |&channel: &usize| {
        let chosen = Chosen { scl: channel, sda: channel, supply: None };
        let edges = recording.source(chosen).map(|source| super::Edges::new(source, 0));
        edges.is_ok_and(|mut edges| edges.any(|edge| matches!(edge, Ok(Edge::Line { .. }))))
    };
    let moving: std::vec::Vec<usize> = channels.filter(moves).collect();
    for &scl in &moving {
        for &sda in moving.iter().filter(|sda| **sda != scl) {
            let source = recording.source(Chosen { scl, sda, supply: None }).ok()?;
            let events = Events::new(super::Edges::new(source, recording.options.filter_ns));
            let Ok((health, _)) = survey(events) else { continue };
            let score = likeness(&health);
            if score > best.map_or(0, |(score, _, _)| score) {
                best = Some((score, scl, sda));
            }
        }
    }
    best.map(|(_, scl, sda)| (scl, sda))
}

impl Recording {
    /// Looks at the first part of a bus, before more is done with it.
    ///
    /// # Errors
    ///
    /// The channels are swapped, or carry no I2C; the file cannot be read.
    pub fn check(&self, bus: &Bus) -> Result<(), RecordingError> {
        let (health, _) = survey(self.events(bus)?)?;
        let swapped = Bus { chosen: Chosen { scl: bus.chosen.sda, sda: bus.chosen.scl, ..bus.chosen }, ..bus.clone() };
        let (turned, _) = survey(self.events(&swapped)?)?;
        let (file, scl, sda) = (self.file.clone(), bus.scl.clone(), bus.sda.clone());
        if likeness(&turned) > 2 * likeness(&health) {
            return Err(RecordingError::Swapped { file, scl, sda });
        }
        match reason(&health) {
            Some(reason) => Err(RecordingError::NoI2c { file, scl, sda, reason }),
            None => Ok(()),
        }
    }
}

/// How one can tell that there is no I2C; `None` if there is.
fn reason(health: &Health) -> Option<String> {
    let Health { scl_edges, sda_edges, starts, stops, bytes, .. } = *health;
    if scl_edges == 0 || sda_edges == 0 {
        let line = if scl_edges == 0 { "SCL" } else { "SDA" };
        return Some(format!("{line} never changes"));
    }
    if starts == 0 {
        return Some(format!("SCL changes {scl_edges} and SDA {sda_edges} times, but there is no START"));
    }
    if bytes == 0 {
        return Some(format!("{} STARTs and STOPs, but never nine clocks between them", starts + stops));
    }
    None
}

impl Events {
    /// Whether the samples so far are too few for the clock: a high or low part of SCL that shows in fewer than two
    /// samples. Edges may then be missing or in the wrong order. Returns the sample interval and the median of the shorter
    /// part, in nanoseconds.
    #[must_use]
    pub fn too_slow(&self) -> Option<(u64, u64)> {
        let interval = self.edges().resolution_ns();
        let timing = self.timing();
        let part = timing.high.median()?.min(timing.low.median()?);
        // The median is rounded down by up to 0.2 %.
        (part + part / 64 < SAMPLES_PER_PART * interval).then_some((interval, part))
    }
}

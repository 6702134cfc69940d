//! Whether there is I2C on two channels, and which of them is the clock.

use std::format;
use std::string::String;

use crate::recording::bus::Bus;
use crate::recording::decode::{Decoder, Health};
use crate::recording::error::RecordingError;
use crate::recording::source::Chosen;
use crate::recording::{Edge, Edges, Events, Recording};

/// Edges that are looked at: enough for a few thousand bytes.
const LOOKED_AT: u64 = 100_000;
/// A clock with parts shorter than this many samples may have lost edges.
const SAMPLES_PER_PART: u64 = 2;

/// What the first part of a recording shows.
fn survey(edges: Edges) -> Result<Health, RecordingError> {
    let mut decoder = Decoder::new();
    for edge in edges {
        decoder.take(edge?);
        if decoder.health.scl_edges + decoder.health.sda_edges > LOOKED_AT {
            break;
        }
    }
    Ok(decoder.health)
}

/// How much the edges look like I2C: whole bytes per START or STOP that lies rightly, none for each that cuts a byte.
fn likeness(health: &Health) -> u64 {
    let conditions = health.starts + health.stops;
    if health.answered == 0 || conditions == 0 || health.cut * 2 > conditions {
        return 0;
    }
    health.bytes * 1000 / conditions
}

/// The lines make much more sense the other way round.
fn swapped_likely(named: &Health, turned: &Health) -> bool {
    likeness(turned) > 2 * likeness(named)
}

/// The two of these channels that look most like SCL and SDA.
pub(crate) fn find_pair(
    recording: &Recording,
    channels: impl Iterator<Item = usize> + Clone,
) -> Option<(usize, usize)> {
    let mut best = None;
    let moves = |&channel: &usize| {
        let chosen = Chosen { scl: channel, sda: channel, supply: None };
        let edges = recording.source(chosen).map(|source| Edges::new(source, 0));
        edges.is_ok_and(|mut edges| edges.any(|edge| matches!(edge, Ok(Edge::Line { .. }))))
    };
    let moving: std::vec::Vec<usize> = channels.filter(moves).collect();
    for &scl in &moving {
        for &sda in moving.iter().filter(|sda| **sda != scl) {
            let source = recording.source(Chosen { scl, sda, supply: None }).ok()?;
            let Ok(health) = survey(Edges::new(source, recording.options.filter_ns)) else { continue };
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
        let health = survey(self.edges(bus)?)?;
        let swapped = Bus { chosen: Chosen { scl: bus.chosen.sda, sda: bus.chosen.scl, ..bus.chosen }, ..bus.clone() };
        let turned = survey(self.edges(&swapped)?)?;
        let (file, scl, sda) = (self.file.clone(), bus.scl.clone(), bus.sda.clone());
        if swapped_likely(&health, &turned) {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn health(bytes: u64, conditions: (u64, u64), cut: u64, answered: u64) -> Health {
        let (starts, stops) = conditions;
        Health { starts, stops, bytes, answered, cut, ..Health::default() }
    }

    #[test]
    fn whole_bytes_between_conditions_look_like_i2c() {
        assert_eq!(likeness(&health(10, (3, 1), 0, 1)), 2500);
        assert_eq!(likeness(&health(10, (3, 1), 2, 1)), 2500, "a half of them may cut a byte");
        for nothing in
            [health(10, (3, 2), 3, 1), health(10, (3, 1), 0, 0), health(10, (0, 0), 0, 1), health(0, (3, 1), 0, 1)]
        {
            assert_eq!(likeness(&nothing), 0, "{nothing:?}");
        }
    }

    #[test]
    fn channels_are_swapped_where_the_other_way_is_more_than_twice_as_likely() {
        let likely = |bytes| health(bytes, (1, 0), 0, 1);
        assert!(swapped_likely(&likely(5), &likely(11)));
        assert!(!swapped_likely(&likely(5), &likely(10)));
        assert!(!swapped_likely(&likely(0), &likely(0)));
    }
}

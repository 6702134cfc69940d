//! The frame that both plots share: sizes, axes, numbers as labels.

use pagewise_base::words::{cut, grouped};
use serde::Serialize;

/// Size of a plot and the frame of its axes, in its own units.
pub(super) const WIDTH: f64 = 720.0;
pub(super) const LEFT: f64 = 84.0;
pub(super) const RIGHT: f64 = 680.0;
pub(super) const TOP: f64 = 56.0;
pub(super) const BOTTOM: f64 = 330.0;

pub(super) fn identifier(id: &str) -> String {
    let kept: String = id.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    if kept.is_empty() { "plot".to_owned() } else { kept }
}

/// A logarithmic axis.
pub(super) struct Axis {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Axis {
    pub(super) fn at(&self, value: f64) -> f64 {
        let part = (value.clamp(self.low, self.high) / self.low).ln() / (self.high / self.low).ln();
        ((self.from + part * (self.to - self.from)) * 10.0).round() / 10.0
    }

    /// The decades on the axis, with labels as far as there is room for them.
    pub(super) fn decades(&self) -> Vec<Tick> {
        let (low, high) = (self.low.log10().round() as i32, self.high.log10().round() as i32);
        let step = 1 + ((high - low) / 8) as usize;
        let label = |decade: i32| {
            if high <= 7 && decade >= 0 { grouped(10u64.pow(decade.unsigned_abs())) } else { format!("1e{decade}") }
        };
        let every = (low..=high).step_by(step);
        every.map(|decade| Tick { at: self.at(10f64.powi(decade)), label: label(decade) }).collect()
    }

    /// The values 1, 2 and 5 of every decade on the axis.
    pub(super) fn ticks(&self, label: impl Fn(f64) -> String) -> Vec<Tick> {
        let decades = (self.low.log10().floor() as i32)..=(self.high.log10().ceil() as i32);
        let values = decades.flat_map(|decade| [1.0, 2.0, 5.0].map(|step| step * 10f64.powi(decade)));
        let inside = values.filter(|value| (self.low * 0.999..=self.high * 1.001).contains(value));
        inside.map(|value| Tick { at: self.at(value), label: label(value) }).collect()
    }
}

#[derive(Serialize)]
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) label: String,
}

#[derive(Serialize)]
pub(super) struct Frame {
    pub(super) width: f64,
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

pub(super) const FRAME: Frame = Frame { width: WIDTH, left: LEFT, right: RIGHT, top: TOP, bottom: BOTTOM };

pub(super) fn joined(points: impl Iterator<Item = (f64, f64)>) -> String {
    points.map(|(x, y)| format!("{x},{y}")).collect::<Vec<_>>().join(" ")
}

/// Ohms with unit, three digits.
pub(super) fn ohms(ohm: f64) -> String {
    match ohm {
        ohm if ohm < 1000.0 => format!("{ohm:.0} ohm"),
        ohm if ohm < 1e6 => format!("{} kohm", trimmed(ohm / 1000.0)),
        ohm => format!("{} Mohm", trimmed(ohm / 1e6)),
    }
}

pub(super) fn trimmed(value: f64) -> String {
    let digits = if value < 10.0 { 2 } else { 1 };
    let text = format!("{value:.digits$}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The next of 1, 2, 5 of a decade at or above a value.
pub(super) fn nice_above(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * decade);
    steps.into_iter().find(|step| *step >= value).unwrap_or(value)
}

/// The next of 1, 2, 5 of a decade at or below a value.
pub(super) fn nice_below(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    let steps = [5.0, 2.0, 1.0].map(|step| step * decade);
    steps.into_iter().find(|step| *step <= value).unwrap_or(value)
}

/// Years with a sensible number of digits.
#[must_use]
pub fn years_text(years: f64) -> String {
    match years {
        years if years < 10.0 => format!("{years:.1}"),
        years if years < 10_000.0 => format!("{years:.0}"),
        _ => "more than 10 000".to_owned(),
    }
}

/// The title as far as there is room for it: letters of 15 px, taken wide, from the left of the frame on.
pub(super) fn heading(what: &str, part: &str, board: &str) -> String {
    const ROOM: usize = 70;
    let begin = format!("{what}, {} on ", cut(part, 24));
    let rest = ROOM - begin.chars().count();
    begin + &cut(board, rest)
}

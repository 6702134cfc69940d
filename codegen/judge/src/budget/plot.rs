//! Plots as SVG: the pull-up window over the capacitance of the bus, and wear over the years.
//!
//! The texts live in `templates/plot_*.svg.tera`. A plot can stand alone as a file or inside an HTML page: it has a
//! title and a description for screen readers, follows light and dark by `currentColor` and `prefers-color-scheme`,
//! holds no script and asks for nothing from outside. Every text of a user is escaped.

mod label;
mod wear;
mod window;

use pagewise_templates::render;
use serde::Serialize;

use super::Budget;
use wear::WearPlot;
use window::PullUpPlot;

/// Size of a plot and the frame of its axes, in its own units.
const WIDTH: f64 = 720.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = 680.0;
const TOP: f64 = 56.0;
const BOTTOM: f64 = 330.0;

/// The pull-up window over the capacitance of the bus. `id` begins the identifiers inside the drawing and must be
/// unique in the page that it is put into; characters other than letters, digits and hyphens are dropped.
///
/// # Panics
/// When a template uses a name that it is not given; tests render both.
#[must_use]
pub fn pull_up(budget: &Budget, id: &str) -> String {
    render("plot_pull_up.svg.tera", &PullUpPlot::of(budget, id))
}

/// Cycles used over the board's years of life in each region's busiest wear unit, against the rating.
///
/// # Panics
/// As [`pull_up`].
#[must_use]
pub fn wear(budget: &Budget, id: &str) -> String {
    render("plot_wear.svg.tera", &WearPlot::of(budget, id))
}

fn identifier(id: &str) -> String {
    let kept: String = id.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    if kept.is_empty() { "plot".to_owned() } else { kept }
}

/// A logarithmic axis.
struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    fn at(&self, value: f64) -> f64 {
        let part = (value.clamp(self.low, self.high) / self.low).ln() / (self.high / self.low).ln();
        ((self.from + part * (self.to - self.from)) * 10.0).round() / 10.0
    }

    /// The decades on the axis, with labels as far as there is room for them.
    fn decades(&self) -> Vec<Tick> {
        let (low, high) = (self.low.log10().round() as i32, self.high.log10().round() as i32);
        let step = 1 + ((high - low) / 8) as usize;
        let label =
            |decade: i32| if high <= 7 && decade >= 0 { spaced(10f64.powi(decade)) } else { format!("1e{decade}") };
        let every = (low..=high).step_by(step);
        every.map(|decade| Tick { at: self.at(10f64.powi(decade)), label: label(decade) }).collect()
    }

    /// The values 1, 2 and 5 of every decade on the axis.
    fn ticks(&self, label: impl Fn(f64) -> String) -> Vec<Tick> {
        let decades = (self.low.log10().floor() as i32)..=(self.high.log10().ceil() as i32);
        let values = decades.flat_map(|decade| [1.0, 2.0, 5.0].map(|step| step * 10f64.powi(decade)));
        let inside = values.filter(|value| (self.low * 0.999..=self.high * 1.001).contains(value));
        inside.map(|value| Tick { at: self.at(value), label: label(value) }).collect()
    }
}

#[derive(Serialize)]
struct Tick {
    at: f64,
    label: String,
}

#[derive(Serialize)]
struct Frame {
    width: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

const FRAME: Frame = Frame { width: WIDTH, left: LEFT, right: RIGHT, top: TOP, bottom: BOTTOM };

fn joined(points: impl Iterator<Item = (f64, f64)>) -> String {
    points.map(|(x, y)| format!("{x},{y}")).collect::<Vec<_>>().join(" ")
}

/// Ohms with unit, three digits.
fn ohms(ohm: f64) -> String {
    match ohm {
        ohm if ohm < 1000.0 => format!("{ohm:.0} ohm"),
        ohm if ohm < 1e6 => format!("{} kohm", trimmed(ohm / 1000.0)),
        ohm => format!("{} Mohm", trimmed(ohm / 1e6)),
    }
}

fn trimmed(value: f64) -> String {
    let digits = if value < 10.0 { 2 } else { 1 };
    let text = format!("{value:.digits$}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The next of 1, 2, 5 of a decade at or above a value.
fn nice_above(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * decade);
    steps.into_iter().find(|step| *step >= value).unwrap_or(value)
}

/// The next of 1, 2, 5 of a decade at or below a value.
fn nice_below(value: f64) -> f64 {
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

/// A count with its digits in groups of three.
fn spaced(count: f64) -> String {
    let digits = format!("{count:.0}");
    let groups: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().filter_map(|group| std::str::from_utf8(group).ok()).collect();
    groups.join(" ")
}

/// The title as far as there is room for it: letters of 15 px, taken wide, from the left of the frame on.
fn heading(what: &str, part: &str, board: &str) -> String {
    const ROOM: usize = 70;
    let begin = format!("{what}, {} on ", short(part, 24));
    let rest = ROOM - begin.chars().count();
    begin + &short(board, rest)
}

/// A name cut to the room that it has.
fn short(name: &str, room: usize) -> String {
    if name.chars().count() <= room { name.to_owned() } else { name.chars().take(room - 1).chain(['…']).collect() }
}

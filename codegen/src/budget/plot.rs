//! Plots as SVG: the pull-up window over the capacitance of the bus, and wear over the years.
//!
//! The texts live in `templates/plot_*.svg.tera`. A plot can stand alone as a file or inside an HTML page: it has a
//! title and a description for screen readers, follows light and dark by `currentColor` and `prefers-color-scheme`,
//! holds no script and asks for nothing from outside. Every text of a user is escaped.

use std::sync::OnceLock;

use serde::Serialize;
use tera::{Context, Tera};

use super::Budget;
use super::pull_up::{Limit, PullUp, most_by_rise};
use super::wear::{DAYS_PER_YEAR, WearBudget};
use crate::output::plain;

const TEMPLATES: [(&str, &str); 3] = [
    ("plot_style.svg.tera", include_str!("../../../templates/plot_style.svg.tera")),
    ("plot_pull_up.svg.tera", include_str!("../../../templates/plot_pull_up.svg.tera")),
    ("plot_wear.svg.tera", include_str!("../../../templates/plot_wear.svg.tera")),
];

/// Size of a plot and the frame of its axes, in its own units.
const WIDTH: f64 = 720.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = 700.0;
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

fn render<T: Serialize>(name: &str, values: &T) -> String {
    static TERA: OnceLock<Tera> = OnceLock::new();
    let tera = TERA.get_or_init(|| {
        let mut tera = Tera::default();
        tera.add_raw_templates(TEMPLATES).expect("embedded templates are well formed");
        tera.autoescape_on(vec![".svg.tera"]);
        tera
    });
    let context = Context::from_serialize(values).expect("template values are a struct");
    tera.render(name, &context).expect("a template uses only names that it is given")
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

#[derive(Serialize)]
struct PullUpPlot {
    id: String,
    frame: Frame,
    title: String,
    /// The title as far as there is room for it.
    heading: String,
    subtitle: String,
    description: String,
    x_ticks: Vec<Tick>,
    y_ticks: Vec<Tick>,
    /// Outline of the window, `x,y x,y ...`.
    window: String,
    rise: String,
    leakage_y: Option<f64>,
    leakage_label: String,
    least_y: f64,
    least_label: String,
    rise_label: String,
    rise_label_x: f64,
    rise_label_y: f64,
    board_x: f64,
    board_y: f64,
    board_label: String,
    board_label_x: f64,
    board_anchor: &'static str,
    inside: bool,
}

impl PullUpPlot {
    fn of(budget: &Budget, id: &str) -> Self {
        let window = &budget.pull_up;
        let largest = window.capacitance_pf.max(f64::from(window.mode.c_b_max_pf));
        let x = Axis { low: 10f64.min(window.capacitance_pf), high: nice_above(largest * 1.05), from: LEFT, to: RIGHT };
        let low = window.least_ohm.min(window.fitted_ohm).min(most_by_rise(limit_ns(window), x.high));
        let high = window.most_by_leakage_ohm.min(most_by_rise(limit_ns(window), x.low)).max(window.fitted_ohm);
        let y = Axis { low: nice_below(low / 1.3), high: nice_above(high * 1.3), from: BOTTOM, to: TOP };
        let points: Vec<(f64, f64)> = (0..=60)
            .map(|step| x.low * (x.high / x.low).powf(f64::from(step) / 60.0))
            .map(|pf| (pf, most_by_rise(limit_ns(window), pf)))
            .collect();
        let rise = joined(points.iter().map(|(pf, ohm)| (x.at(*pf), y.at(*ohm))));
        let board_x = x.at(window.capacitance_pf);
        let on_the_right = board_x > (LEFT + RIGHT) / 2.0;
        let label_pf = x.low * (x.high / x.low).powf(0.62);
        let (part, board) = (plain(&budget.part_name), plain(&budget.board));
        Self {
            id: identifier(id),
            frame: FRAME,
            heading: format!("Pull-up window, {} on {}", short(&part, 24), short(&board, 40)),
            title: format!("Pull-up window, {part} on {board}"),
            subtitle: format!("{} at {} kHz, supply {} V", window.mode.name, budget.timing.scl_khz, window.supply_v),
            description: describe(window),
            x_ticks: x.ticks(|pf| format!("{pf:.0}")),
            y_ticks: y.ticks(ohms),
            window: outline(window, &x, &y, &points),
            rise,
            leakage_y: (window.most_by_leakage_ohm < y.high).then(|| y.at(window.most_by_leakage_ohm)),
            leakage_label: format!("leakage {:.0} uA: at most {}", window.leakage_ua, ohms(window.most_by_leakage_ohm)),
            least_y: y.at(window.least_ohm),
            least_label: format!("sink current: at least {}", ohms(window.least_ohm)),
            rise_label: format!("rise time {:.0} ns", limit_ns(window)),
            rise_label_x: x.at(label_pf) + 8.0,
            rise_label_y: y.at(most_by_rise(limit_ns(window), label_pf)) - 6.0,
            board_x,
            board_y: y.at(window.fitted_ohm),
            board_label: format!("board: {}, {:.0} pF", ohms(window.fitted_ohm), window.capacitance_pf),
            board_label_x: if on_the_right { board_x - 10.0 } else { board_x + 10.0 },
            board_anchor: if on_the_right { "end" } else { "start" },
            inside: window.standing == super::Standing::Inside,
        }
    }
}

fn limit_ns(window: &PullUp) -> f64 {
    f64::from(window.mode.t_r_max)
}

fn describe(window: &PullUp) -> String {
    let standing = match window.standing {
        super::Standing::Inside => "lies inside the window",
        super::Standing::TooSmall => "is too small",
        super::Standing::TooLarge => "is too large",
        super::Standing::Infeasible => "cannot be right, since the limits cross and no resistor serves",
    };
    let upper = if window.upper_limit == Limit::Leakage { "leakage" } else { "rise time" };
    format!(
        "At {:.0} pF the resistor must be at least {} (sink current) and at most {} ({upper}). The board's {} \
         {standing}.",
        window.capacitance_pf,
        ohms(window.least_ohm),
        ohms(window.most_ohm),
        ohms(window.fitted_ohm)
    )
}

/// The area between the limits, as far as there is one.
fn outline(window: &PullUp, x: &Axis, y: &Axis, points: &[(f64, f64)]) -> String {
    let above = points.iter().map(|(pf, ohm)| (*pf, ohm.min(window.most_by_leakage_ohm)));
    let mut edge: Vec<(f64, f64)> = above.take_while(|(_, ohm)| *ohm >= window.least_ohm).collect();
    let crossing = super::pull_up::most_capacitance(limit_ns(window), window.least_ohm);
    if edge.is_empty() {
        return String::new();
    }
    if edge.len() < points.len() {
        edge.push((crossing, window.least_ohm));
    }
    let (first, last) = (edge[0].0, edge[edge.len() - 1].0);
    let closed = edge.into_iter().chain([(last, window.least_ohm), (first, window.least_ohm)]);
    joined(closed.map(|(pf, ohm)| (x.at(pf), y.at(ohm))))
}

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

#[derive(Serialize)]
struct Bar {
    label: String,
    value: String,
    y: f64,
    text_y: f64,
    width: f64,
    over: bool,
}

#[derive(Serialize)]
struct WearPlot {
    id: String,
    frame: Frame,
    height: f64,
    axis_y: f64,
    title: String,
    /// The title as far as there is room for it.
    heading: String,
    subtitle: String,
    description: String,
    ticks: Vec<Tick>,
    rating_x: f64,
    rating_label: String,
    rating_anchor: &'static str,
    bars: Vec<Bar>,
    more: String,
}

/// Regions that are drawn; the others are counted.
const BARS: usize = 12;
const BAR: f64 = 34.0;

impl WearPlot {
    fn of(budget: &Budget, id: &str) -> Self {
        let wear = &budget.wear;
        let cycles = |per_day: f64| per_day * DAYS_PER_YEAR * wear.years_of_life;
        let rated = wear.rating.cycles as f64;
        let written: Vec<_> = wear.regions.iter().filter(|region| region.cycles_per_day > 0.0).collect();
        let most = written.iter().map(|region| cycles(region.cycles_per_day)).fold(rated, f64::max);
        let least = written.iter().map(|region| cycles(region.cycles_per_day)).fold(rated, f64::min);
        let x = Axis {
            low: 10f64.powf((least / 2.0).max(1e-3).log10().floor()),
            high: 10f64.powf((most * 1.2).log10().ceil()),
            from: LEFT,
            to: RIGHT,
        };
        let bars: Vec<Bar> = written
            .iter()
            .take(BARS)
            .enumerate()
            .map(|(index, region)| {
                let y = TOP + 24.0 + BAR * index as f64;
                let over = cycles(region.cycles_per_day) > rated;
                Bar {
                    label: short(&plain(&region.region), 28),
                    value: format!(
                        "{} cycles in {} years at {:#06x}{}",
                        spaced(cycles(region.cycles_per_day)),
                        wear.years_of_life,
                        region.worst_offset,
                        if over { ", over the rating" } else { "" }
                    ),
                    y: y + 14.0,
                    text_y: y + 10.0,
                    width: x.at(cycles(region.cycles_per_day)) - LEFT,
                    over,
                }
            })
            .collect();
        let axis_y = TOP + 30.0 + BAR * bars.len().max(1) as f64;
        let rating_x = x.at(rated);
        let more = written.len().saturating_sub(BARS);
        let (part, board) = (plain(&budget.part_name), plain(&budget.board));
        let decades = x.decades();
        Self {
            id: identifier(id),
            frame: FRAME,
            height: axis_y + 52.0,
            axis_y,
            heading: format!("Wear, {} on {}", short(&part, 24), short(&board, 40)),
            title: format!("Wear, {part} on {board}"),
            subtitle: format!("write cycles in the busiest {} of each region", unit(wear)),
            description: describe_wear(wear),
            ticks: decades,
            rating_x,
            rating_label: format!("rated {}", spaced(rated)),
            rating_anchor: if rating_x > (LEFT + RIGHT) / 2.0 { "end" } else { "start" },
            bars,
            more: if more > 0 { format!("and {more} regions that wear less") } else { String::new() },
        }
    }
}

fn unit(wear: &WearBudget) -> String {
    match wear.unit_bytes {
        1 => "byte".to_owned(),
        bytes => format!("{bytes} bytes that age together"),
    }
}

fn describe_wear(wear: &WearBudget) -> String {
    let rated = spaced(wear.rating.cycles as f64);
    match (wear.worst_offset, wear.years_to_rating) {
        (Some(offset), Some(years)) => format!(
            "The busiest place is {offset:#06x}; it reaches the rating of {rated} cycles after {} years. The board must \
             last {} years. The rating is {}.",
            years_text(years),
            wear.years_of_life,
            wear.rating.words()
        ),
        _ => format!("Nothing is written at run time; the part is rated for {rated} cycles."),
    }
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

/// A name cut to the room that it has.
fn short(name: &str, room: usize) -> String {
    if name.chars().count() <= room { name.to_owned() } else { name.chars().take(room - 1).chain(['…']).collect() }
}

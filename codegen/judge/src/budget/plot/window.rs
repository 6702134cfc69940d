//! The plot of the pull-up window.

use serde::Serialize;

use super::frame::{Axis, BOTTOM, FRAME, Frame, LEFT, RIGHT, TOP, Tick};
use super::frame::{heading, identifier, joined, nice_above, nice_below, ohms};
use super::label::{Label, Labels, Place};
use crate::budget::Budget;
use crate::budget::pull_up::{Limit, PullUp, Standing, most_by_rise, most_capacitance};
use pagewise_base::paint::plain;

/// Radius of the board's point.
const POINT: f64 = 6.0;

#[derive(Serialize)]
pub(super) struct PullUpPlot {
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
    least_y: f64,
    board_x: f64,
    board_y: f64,
    labels: Vec<Label>,
    inside: bool,
}

impl PullUpPlot {
    pub(super) fn of(budget: &Budget, id: &str) -> Self {
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
        let leakage_y = (window.most_by_leakage_ohm < y.high).then(|| y.at(window.most_by_leakage_ohm));
        let (part, board) = (plain(&budget.part_name), plain(&budget.board));
        Self {
            id: identifier(id),
            frame: FRAME,
            heading: heading("Pull-up window", &part, &board),
            title: format!("Pull-up window, {part} on {board}"),
            subtitle: format!("{} at {} kHz, supply {} V", window.mode.name, budget.timing.scl_khz, window.supply_v),
            description: describe(window),
            x_ticks: x.ticks(|pf| format!("{pf:.0}")),
            y_ticks: y.ticks(ohms),
            window: outline(window, &x, &y, &points),
            rise,
            leakage_y,
            least_y: y.at(window.least_ohm),
            board_x: x.at(window.capacitance_pf),
            board_y: y.at(window.fitted_ohm),
            labels: labels(window, &x, &y, leakage_y, &points),
            inside: window.standing == Standing::Inside,
        }
    }
}

/// What stands inside the frame: the board beside its point, each limit at its line.
fn labels(window: &PullUp, x: &Axis, y: &Axis, leakage_y: Option<f64>, points: &[(f64, f64)]) -> Vec<Label> {
    let (board_x, board_y) = (x.at(window.capacitance_pf), y.at(window.fitted_ohm));
    let curve: Vec<(f64, f64)> = points.iter().map(|(pf, ohm)| (x.at(*pf), y.at(*ohm))).collect();
    let mut labels = Labels::around((board_x, board_y), POINT, &curve);
    let board = format!("board: {}, {:.0} pF", ohms(window.fitted_ohm), window.capacitance_pf);
    let beside = [-8.0, 18.0, 4.0, -24.0, 34.0]
        .map(|below| [Place::start(board_x + 10.0, board_y + below), Place::end(board_x - 10.0, board_y + below)]);
    let mut beside = beside.concat();
    if board_x > (LEFT + RIGHT) / 2.0 {
        beside.chunks_mut(2).for_each(<[Place]>::reverse);
    }
    labels.put(board, beside);
    let least = format!("sink current: at least {}", ohms(window.least_ohm));
    let least_y = y.at(window.least_ohm);
    labels.put(least, along(least_y, Place::start(LEFT + 6.0, least_y + 16.0)));
    if let Some(leakage_y) = leakage_y {
        let leakage = format!("leakage {:.0} uA: at most {}", window.leakage_ua, ohms(window.most_by_leakage_ohm));
        labels.put(leakage, along(leakage_y, Place::end(RIGHT - 4.0, leakage_y - 6.0)));
    }
    let on_the_curve = [0.62, 0.5, 0.4, 0.74, 0.3, 0.2, 0.85, 0.1].map(|part| {
        let pf = x.low * (x.high / x.low).powf(part);
        let (at, height) = (x.at(pf), y.at(most_by_rise(limit_ns(window), pf)));
        [Place::start(at + 8.0, height - 6.0), Place::end(at - 8.0, height + 16.0)]
    });
    labels.put(format!("rise time {:.0} ns", limit_ns(window)), on_the_curve.concat());
    labels.put_down()
}

/// Places along a level line, the wanted one first.
fn along(line_y: f64, wanted: Place) -> Vec<Place> {
    let mut places = vec![wanted];
    for y in [line_y - 6.0, line_y + 16.0] {
        places.push(Place::start(LEFT + 6.0, y));
        places.push(Place::end(RIGHT - 4.0, y));
        places.push(Place::start((LEFT + RIGHT) / 2.0, y));
        places.push(Place::end((LEFT + RIGHT) / 2.0, y));
    }
    places
}

fn limit_ns(window: &PullUp) -> f64 {
    f64::from(window.mode.t_r_max)
}

fn describe(window: &PullUp) -> String {
    let standing = match window.standing {
        Standing::Inside => "lies inside the window",
        Standing::TooSmall => "is too small",
        Standing::TooLarge => "is too large",
        Standing::Infeasible => "cannot be right, since the limits cross and no resistor serves",
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
    let crossing = most_capacitance(limit_ns(window), window.least_ohm);
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

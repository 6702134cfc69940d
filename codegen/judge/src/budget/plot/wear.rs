//! The plot of wear.

use serde::Serialize;

use super::frame::{Axis, FRAME, Frame, LEFT, RIGHT, TOP, Tick};
use super::frame::{heading, identifier, years_text};
use crate::budget::Budget;
use crate::budget::wear::{DAYS_PER_YEAR, WearBudget};
use pagewise_base::paint::plain;
use pagewise_base::words::{cut, grouped};

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
pub(super) struct WearPlot {
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
    pub(super) fn of(budget: &Budget, id: &str) -> Self {
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
                    label: cut(&plain(&region.region), 28),
                    value: format!(
                        "{} cycles in {} years at {:#06x}{}",
                        grouped(cycles(region.cycles_per_day).round() as u64),
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
            heading: heading("Wear", &part, &board),
            title: format!("Wear, {part} on {board}"),
            subtitle: format!("write cycles in the busiest {} of each region", unit(wear)),
            description: describe_wear(wear),
            ticks: decades,
            rating_x,
            rating_label: format!("rated {}", grouped(wear.rating.cycles)),
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
    let rated = grouped(wear.rating.cycles);
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

//! Plots as SVG: the pull-up window over the capacitance of the bus, and wear over the years.
//!
//! The texts live in `templates/plot_*.svg.tera`. A plot can stand alone as a file or inside an HTML page: it has a
//! title and a description for screen readers, follows light and dark by `currentColor` and `prefers-color-scheme`,
//! holds no script and asks for nothing from outside. Every text of a user is escaped.

mod frame;
mod label;
mod wear;
mod window;

use pagewise_templates::render;

use super::Budget;
pub use frame::years_text;
use wear::WearPlot;
use window::PullUpPlot;

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

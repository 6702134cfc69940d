//! What changes in the budget when a part is swapped: old beside new.

use schemars::JsonSchema;
use serde::Serialize;

use super::Budget;

/// One number, old beside new.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Change {
    /// What it is.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// With the fitted part; absent where it is not known or without end.
    pub old: Option<f64>,
    /// With the candidate.
    pub new: Option<f64>,
    /// Whether the change is for the better; absent when nothing changes or it is neither.
    pub better: Option<bool>,
}

/// Every number of the budget that a swap can change.
#[must_use]
pub fn changes(old: &Budget, new: &Budget) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut add = |what, unit, more_is_better: Option<bool>, value: &dyn Fn(&Budget) -> Option<f64>| {
        let (old, new) = (value(old), value(new));
        let better = match (old, new, more_is_better) {
            (Some(old), Some(new), Some(more)) if (old - new).abs() > 1e-9 * old.abs() => Some((new > old) == more),
            _ => None,
        };
        changes.push(Change { what, unit, old, new, better });
    };
    add("capacity", "bytes", None, &|budget| Some(f64::from(budget.times.image_bytes)));
    add("capacitance of a line", "pF", Some(false), &|budget| Some(budget.pull_up.capacitance_pf));
    add("rise time", "ns", Some(false), &|budget| Some(budget.pull_up.rise_ns));
    add("largest pull-up", "ohm", Some(true), &|budget| Some(budget.pull_up.most_ohm));
    add("fastest SCL of the part", "kHz", Some(true), &|budget| {
        budget.timing.rate_fits.map(|_| f64::from(budget.timing.part_scl_khz))
    });
    add("SCL of the times below", "kHz", Some(true), &|budget| Some(f64::from(budget.times.scl_khz)));
    add("slack in an SCL period", "ns", Some(true), &|budget| Some(budget.timing.slack_ns));
    add("page", "bytes", None, &|budget| Some(f64::from(budget.times.page_bytes)));
    add("longest write cycle", "ms", Some(false), &|budget| Some(f64::from(budget.times.write_cycle_max_us) / 1000.0));
    add("read all", "s", None, &|budget| Some(budget.times.read.seconds()));
    add("program all, polling", "s", None, &|budget| Some(budget.times.program_polling.seconds()));
    add("program all, fixed waits", "s", None, &|budget| Some(budget.times.program_fixed.seconds()));
    add("write the regions, polling", "s", Some(false), &|budget| Some(budget.times.regions_write_polling.seconds()));
    add("wear unit", "bytes", Some(false), &|budget| Some(f64::from(budget.wear.unit_bytes)));
    add("rated cycles", "cycles", Some(true), &|budget| Some(budget.wear.rating.cycles as f64));
    add("years to the rating", "years", Some(true), &|budget| budget.wear.years_to_rating);
    changes
}

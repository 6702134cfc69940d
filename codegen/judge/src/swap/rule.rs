//! The rules of a swap, one file each: what is compared, why it matters, and the check.

mod address_conflict;
mod address_width;
mod block_select;
mod capacity;
mod device_address;
mod endurance;
mod footprint;
mod kind;
mod page;
mod pointer;
mod power_up;
mod pull_up;
mod second_region;
mod sequential_read;
mod speed;
mod straps;
mod supply;
mod write_cycle;
mod write_protect;
mod write_shape;

use super::{Case, Finding};

/// One rule.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Identifier, as findings name it.
    pub id: &'static str,
    /// What it compares.
    pub compares: &'static str,
    /// Why it matters.
    pub why: &'static str,
    check: fn(&Case<'_>) -> Vec<Finding>,
}

/// Every rule.
pub const RULES: [Rule; 20] = [
    kind::RULE,
    capacity::RULE,
    supply::RULE,
    speed::RULE,
    footprint::RULE,
    straps::RULE,
    device_address::RULE,
    address_conflict::RULE,
    address_width::RULE,
    block_select::RULE,
    page::RULE,
    write_shape::RULE,
    write_cycle::RULE,
    write_protect::RULE,
    sequential_read::RULE,
    pointer::RULE,
    power_up::RULE,
    endurance::RULE,
    second_region::RULE,
    pull_up::RULE,
];

/// What all rules find.
#[must_use]
pub fn all(case: &Case<'_>) -> Vec<Finding> {
    RULES.iter().flat_map(|rule| (rule.check)(case)).collect()
}

/// Milliseconds with the unit, from microseconds.
fn ms(us: u32) -> String {
    format!("{} ms", f64::from(us) / 1000.0)
}

/// Volts with the unit, from millivolts.
fn volts(mv: u32) -> String {
    format!("{} V", f64::from(mv) / 1000.0)
}

use std::collections::BTreeMap;

use super::answers::anywhere;
use super::{Rule, ms, volts};
use crate::swap::finding::Proviso;
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::{Card, Footprint};
use pagewise_part::fact::Basis;

pub(super) const RULE: Rule = Rule { id: "unstated", check };

/// What a board file holds without anybody having stated it is a condition wherever the candidate asks for more than the
/// fitted part does: the board may be at the very edge of what the fitted part allows.
fn check(case: &Case<'_>) -> Vec<Finding> {
    if case.board.unstated.is_empty() {
        return Vec::new();
    }
    let (old, new) = (&*case.old, &case.new);
    let unstated = |path: &str| case.board.unstated.iter().any(|it| it == path);
    let mut findings = Vec::new();
    let mut ask = |path: &'static str, wider: bool, verdict: Verdict, what: String, proviso: String| {
        if unstated(path) && !wider {
            findings.push(condition(path, verdict, what, proviso));
        }
    };
    ask(
        "footprint",
        packages(old) == packages(new) && new.packages.complete,
        Verdict::Rework,
        "the board's package is not stated".into(),
        "it is made in the package that the board has, with the same pins".into(),
    );
    let range = |card: &Card| (card.write_min_mv.value, card.max_mv.value);
    let ((old_low, old_high), (low, high)) = (range(old), range(new));
    ask(
        "bus.supply_v",
        low <= old_low && high >= old_high,
        Verdict::Reject,
        format!(
            "the fitted part works from {} to {}, this one from {} to {}",
            volts(old_low),
            volts(old_high),
            volts(low),
            volts(high)
        ),
        format!("the supply lies from {} to {}", volts(low), volts(high)),
    );
    let supply = case.board.bus.supply_mv;
    let (old_khz, khz) = (old.scl_khz_at(supply), new.scl_khz_at(supply));
    ask(
        "bus.scl_khz",
        khz >= old_khz,
        Verdict::Reconfigure,
        format!("at {} the fitted part takes {old_khz} kHz, this one {khz} kHz", volts(supply)),
        format!("SCL runs at {khz} kHz or less"),
    );
    ask(
        "bus.other_addresses",
        anywhere(new).is_subset(&anywhere(old)),
        Verdict::Rework,
        "it answers device addresses that the fitted part leaves free, and the other devices are not stated".into(),
        "no other device on the bus has an address that it answers".into(),
    );
    for (path, pin) in [("straps.a0", 0), ("straps.a1", 1), ("straps.a2", 2)] {
        let role = |card: &Card| card.device_bits().map(|role| (role.pin() == Some(pin)).then_some(role));
        ask(
            path,
            role(old) == role(new) && old.open_strap.value == new.open_strap.value,
            Verdict::Rework,
            format!("the two treat A{pin} differently, and what it is tied to is not stated"),
            format!("A{pin} is tied so that the part answers where the firmware expects it"),
        );
    }
    ask(
        "straps.wp",
        covers(new, old) && old.open_wp.value == new.open_wp.value,
        Verdict::Rework,
        "the two protect different bytes, and what WP is tied to is not stated".into(),
        "nothing relies on WP".into(),
    );
    let (old_us, us) = (old.write_cycle_max_us.value, new.write_cycle_max_us.value);
    ask(
        "firmware.wait",
        us <= old_us,
        Verdict::Reconfigure,
        format!("a write cycle takes up to {}, the fitted part's {}", ms(us), ms(old_us)),
        format!("the firmware polls for an acknowledge, or waits at least {}", ms(us)),
    );
    let (rated, own) = (old.endurance_cycles.value, new.endurance_cycles.value);
    for path in ["region", "years_of_life"] {
        ask(
            path,
            own >= rated,
            Verdict::Reject,
            format!("it is rated for {own} write cycles, the fitted part for {rated}"),
            format!("no byte is written more than {own} times"),
        );
    }
    findings
}

fn condition(path: &str, verdict: Verdict, compared: String, proviso: String) -> Finding {
    let source = Basis::Assumed { why: format!("nobody stated `{path}` of the board").into() };
    Finding {
        rule: RULE.id,
        verdict,
        compared,
        source,
        remedy: format!("state `{path}`: {proviso}"),
        hazard: None,
        proviso: Some(Proviso { text: proviso, amend: Amend::Board }),
        simulated: false,
        measure: None,
        changes: Vec::new(),
        with_fitted: false,
    }
}

/// Footprints with their pins.
fn packages(card: &Card) -> Vec<(Footprint, Option<&BTreeMap<String, String>>)> {
    let mut all: Vec<_> = card.packages.list.iter().map(|package| (package.footprint, package.pins.as_ref())).collect();
    all.sort_unstable();
    all
}

/// First byte that WP protects and the one behind the last; none for none.
const fn protected(card: &Card) -> Option<(u32, u32)> {
    match card.protect_range.value.bytes(card.capacity_bytes.value) {
        (_, 0) => None,
        (first, length) => Some((first, first + length)),
    }
}

/// Whether WP of one part protects all that WP of the other does.
fn covers(new: &Card, old: &Card) -> bool {
    match (protected(old), protected(new)) {
        (None, _) => true,
        (Some(_), None) => false,
        (Some((first, end)), Some((new_first, new_end))) => new_first <= first && new_end >= end,
    }
}

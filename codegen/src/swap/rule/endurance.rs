use std::collections::BTreeMap;

use pagewise_simulator::Hazard;

use super::Rule;
use crate::card::Wear;
use crate::swap::{Amend, Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule {
    id: "endurance",
    compares: "write cycles over the board's life at the busiest wear unit with the part's rating",
    why: "cells past their rating stick or forget; where wear counts by page or group, neighbours age together",
    check,
};

const DAYS_PER_YEAR: f64 = 365.25;

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let unit = match new.wear_unit.value {
        Wear::Byte => 1,
        Wear::Group4 => 4,
        Wear::Page => new.page_bytes.value,
    };
    let mut per_day: BTreeMap<u32, f64> = BTreeMap::new();
    for region in board.regions.iter().filter(|region| region.writes_per_day > 0.0) {
        for piece in board.firmware.write_pieces(region) {
            for place in piece.offset / unit..=(piece.offset + piece.length - 1) / unit {
                *per_day.entry(place).or_default() += region.writes_per_day;
            }
        }
    }
    let Some((place, busiest)) = per_day.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)) else { return Vec::new() };
    let cycles = busiest * DAYS_PER_YEAR * board.years;
    if cycles <= new.endurance_cycles.value as f64 {
        return Vec::new();
    }
    let text = format!(
        "{cycles:.0} write cycles in {} years at {:#06x} (wear counts per {unit} byte(s)), rated for {}",
        board.years,
        place * unit,
        new.endurance_cycles.value
    );
    let remedy = "write less often, spread the writes over several pages, or take a part with a higher rating";
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.endurance_cycles, text, remedy.into());
    let needed = cycles.ceil() as u64;
    vec![
        finding
            .hazard(Hazard::WearOut)
            .not_simulated()
            .unless(format!("it is rated for {needed} write cycles"), Amend::Endurance(needed)),
    ]
}

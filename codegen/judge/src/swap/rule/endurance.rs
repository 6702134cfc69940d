use pagewise_simulator::Hazard;

use super::Rule;
use crate::board::Board;
use crate::budget::wear::{DAYS_PER_YEAR, Load, Rating, unit_bytes};
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::assume;
use pagewise_part::fact::Fact;

pub(super) const RULE: Rule = Rule { id: "endurance", check };

/// Compares write cycles over the board's life at the busiest wear unit with the part's rating: cells past their
/// rating stick or forget; where wear counts by page or group, neighbours age together.
///
/// The arithmetic and its sources are in [`crate::budget::wear`].
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let unit = unit_bytes(new);
    let hottest = f64::from(case.climate.high.celsius);
    let mut rating = Rating::of(new, Some(hottest), board.bus.supply_mv);
    if rating.covers == Some(false) {
        // A rating falls as the temperature rises, by an amount that was not read.
        let lowest = assume::ENDURANCE_CYCLES.fact();
        rating.cycles = rating.cycles.min(lowest.value);
        rating.source = lowest.basis;
    }
    if certainly_enough(board, unit, rating.cycles as f64) {
        return Vec::new();
    }
    let Some((place, busiest)) = Load::of(board, unit).busiest_of_all() else { return Vec::new() };
    let cycles = busiest * DAYS_PER_YEAR * board.years;
    if cycles <= rating.cycles as f64 {
        return Vec::new();
    }
    let at =
        rating.at_celsius.filter(|_| rating.covers == Some(true)).or(Some(hottest).filter(|_| rating.covers.is_some()));
    let text = format!(
        "{cycles:.0} write cycles in {} years at {:#06x} (wear counts per {unit} byte(s)), rated for {}{}",
        board.years,
        place * unit,
        rating.cycles,
        at.map_or_else(String::new, |celsius| format!(" at {celsius} C"))
    );
    let remedy = "write less often, spread the writes over several pages, or take a part with a higher rating";
    let fact = Fact { value: rating.cycles, basis: rating.source };
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &fact, text, remedy.into());
    let needed = cycles.ceil() as u64;
    let condition = match at {
        Some(celsius) => format!("it is rated for {needed} write cycles at {celsius} C"),
        None => format!("it is rated for {needed} write cycles"),
    };
    vec![
        finding
            .hazard(Hazard::WearOut)
            .not_simulated()
            .measured(cycles / rating.cycles as f64)
            .unless(condition, Amend::Endurance(needed)),
    ]
}

/// Whether the rating is kept even if every region had its busiest place in the same wear unit. No more writes of a
/// region touch a unit than the unit has bytes.
fn certainly_enough(board: &Board, unit: u32, rated: f64) -> bool {
    let at_most = board.regions.iter().map(|region| region.writes_per_day * f64::from(region.length.min(unit)));
    // The margin is far above what rounding of the sums can do.
    at_most.sum::<f64>() * DAYS_PER_YEAR * board.years < rated * 0.999
}

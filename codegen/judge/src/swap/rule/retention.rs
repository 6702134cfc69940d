use super::Rule;
use crate::swap::{Amend, Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "retention", check };

/// Compares the board's years of life with the years for which the part keeps what it holds: what is written once, on the
/// line, must still be there at the end.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let kept = new.retention_at(board.bus.supply_mv);
    if board.years <= f64::from(kept.value) {
        return Vec::new();
    }
    let text = format!("{} years of life, the part keeps its contents for {} years", board.years, kept.value);
    let remedy = format!("write everything anew within {} years, or take a part that keeps it for longer", kept.value);
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &kept, text, remedy).not_simulated();
    let years = board.years.ceil() as u32;
    let proviso = format!("it keeps its contents for {years} years");
    vec![finding.measured(board.years / f64::from(kept.value)).unless(proviso, Amend::Retention(years))]
}

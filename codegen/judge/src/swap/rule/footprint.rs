use super::Rule;
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::{Footprint, assume};

pub(super) const RULE: Rule = Rule { id: "footprint", check };

/// Compares the board's footprint with the packages that the sheet read names: a part that is not made in the board's
/// package needs another board; sheets differ in what they offer.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (footprint, new) = (case.board.footprint, &case.new);
    // The narrow 8-lead SOIC is the usual package of these parts (common practice, no source).
    if footprint == Footprint::Soic8 || new.package_for(footprint).is_some() || new.id == case.old.id {
        return Vec::new();
    }
    let text = format!("{} on the board, not among the packages known of this part", footprint.word());
    let fact = assume::PACKAGE_MADE.fact();
    let remedy = "look for the package in the data sheet, or change the footprint".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Rework, &fact, text, remedy).not_simulated();
    vec![finding.unless(format!("it is made in {}", footprint.word()), Amend::Package(footprint))]
}

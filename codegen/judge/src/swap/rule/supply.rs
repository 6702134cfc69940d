use pagewise_simulator::Hazard;

use super::{Rule, volts};
use crate::swap::{Amend, Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "supply", check };

/// Compares the board's supply with the part's limits for reading and writing: below its minimum a part does not
/// answer or acknowledges what it does not store; above its maximum it can be damaged.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (supply, new) = (case.board.bus.supply_mv, &case.new);
    let remedy = "take a part for this supply; never exceed the absolute maximum ratings of its data sheet";
    let finding = |fact: &pagewise_part::fact::Fact<u32>, text: String| {
        Finding::new(RULE.id, Verdict::Reject, fact, text, remedy.into())
            .measured(f64::from(supply.abs_diff(fact.value)))
            .unless(format!("it works at {}", volts(supply)), Amend::Supply(supply))
    };
    if supply < new.read_min_mv.value {
        let text = format!("{} on the board, the part needs at least {}", volts(supply), volts(new.read_min_mv.value));
        return vec![finding(&new.read_min_mv, text).hazard(Hazard::Undervoltage)];
    }
    if supply < new.write_min_mv.value {
        let text = format!("{} on the board, writing needs {}", volts(supply), volts(new.write_min_mv.value));
        let finding = finding(&new.write_min_mv, text).hazard(Hazard::Undervoltage);
        // Firmware that only reads does not show it; whoever programs the board does.
        let writes = case.board.regions.iter().any(|region| region.writes_per_day > 0.0);
        return vec![if writes { finding } else { finding.not_simulated() }];
    }
    if supply > new.max_mv.value {
        let text = format!("{} on the board, the part stops at {}", volts(supply), volts(new.max_mv.value));
        return vec![finding(&new.max_mv, text).hazard(Hazard::Overvoltage)];
    }
    // Exactly at the most cautious bound met: whether this part begins or ends there was not read either.
    let bounds = [&new.read_min_mv, &new.max_mv];
    let unread = bounds.into_iter().find(|bound| bound.is_assumed() && bound.value == supply);
    let on_bound = |bound| finding(bound, format!("{} on the board, the part's supply was not read", volts(supply)));
    unread.map(on_bound).into_iter().collect()
}

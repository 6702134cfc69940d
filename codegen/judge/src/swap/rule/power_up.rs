use super::{Rule, ms};
use crate::swap::{Amend, Case, Change, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "power-up", check };

/// Compares the firmware's first access after power-up with the time that the part needs: a part that is asked too
/// early does not answer, and the firmware takes it for absent.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let needed = &case.new.power_up_us;
    let Some(first) = case.board.firmware.first_access_us else { return Vec::new() };
    if first >= needed.value {
        return Vec::new();
    }
    let text = format!("first access {} after power good, the part needs {}", ms(first), ms(needed.value));
    let remedy = format!("wait {} before the first access", ms(needed.value));
    let finding =
        Finding::new(RULE.id, Verdict::Reconfigure, needed, text, remedy).change([Change::FirstAccessUs(needed.value)]);
    vec![finding.unless(format!("it is ready {} after power good", ms(first)), Amend::PowerUpUs(first))]
}

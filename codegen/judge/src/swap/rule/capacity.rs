use pagewise_simulator::Hazard;

use super::Rule;
use super::answers::Seat;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::density;

pub(super) const RULE: Rule = Rule { id: "capacity", check };

/// Compares the last byte in use with the size of the array: upper word-address bits are don't care, so an offset
/// beyond the part hits another place without any error.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let used = case.board.used_bytes();
    let reachable = Seat::on(case.board, &case.new).reach();
    if u64::from(used) <= reachable {
        return Vec::new();
    }
    let whole = case.new.capacity_bytes.value;
    let compared = if used <= whole {
        format!("{used} bytes in use, {reachable} reached without a bank-select command, {whole} in the part")
    } else {
        format!("{used} bytes in use, {} in the part", density(whole))
    };
    let remedy = "take a larger part, or move the regions together";
    let finding = Finding::new(RULE.id, Verdict::Reject, &case.new.capacity_bytes, compared, remedy.into());
    vec![finding.hazard(Hazard::CapacityAlias).measured(f64::from(used) / reachable as f64)]
}

use pagewise_simulator::Hazard;

use super::Rule;
use crate::board::WriteShape;
use crate::swap::{Case, Change, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "write-shape", check };

/// Compares how header and data of a page write reach the bus: a repeated START between header and data drops what
/// was latched, and the first data bytes are taken for an address; this holds for every part.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let board = case.board;
    let writes = board.regions.iter().any(|region| region.writes_per_day > 0.0);
    if board.firmware.write_shape != WriteShape::TwoRestarted || !writes || case.new.word_address_bytes.value == 0 {
        return Vec::new();
    }
    let text = "the firmware's bus layer sends a repeated START between header and data".to_owned();
    let remedy = "send header and data as one contiguous write".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &case.new.page_bytes, text, remedy);
    vec![finding.hazard(Hazard::RestartAbort).change([Change::OneBuffer])]
}

use pagewise_simulator::Hazard;

use super::Rule;
use super::answers::Seat;
use super::transfers::Cuts;
use crate::swap::{Amend, Case, Change, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "sequential-read", check };

/// Compares the firmware's longest reads with the block inside which the part's sequential read stays: a read that
/// crosses the block goes on at the block's start and returns the wrong bytes without an error.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let block = new.read_wrap_bytes.value;
    if u64::from(board.used_bytes()) > Seat::on(board, new).reach() {
        return Vec::new();
    }
    let cuts = Cuts::of_reads(&board.firmware);
    let crossing = board.regions.iter().find_map(|region| Some((region, cuts.crossing(region, block)?)));
    let Some((region, it)) = crossing else { return Vec::new() };
    let text = format!(
        "reading `{}` runs over {} bytes from {:#06x} in one go, the part's read stays inside {block} bytes",
        region.name,
        it.end - it.start,
        it.start
    );
    let remedy = format!("cut reads at multiples of {block} bytes");
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.read_wrap_bytes, text, remedy);
    let finding = finding.hazard(Hazard::ReadRollover).change([Change::ReadCut(block)]);
    vec![finding.unless("its read runs over the whole array", Amend::ReadWholeArray)]
}

use pagewise_simulator::Hazard;

use super::Rule;
use super::transfers::Cuts;
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::Kind;

pub(super) const RULE: Rule = Rule { id: "page", check };

/// The largest page met, in bytes; nobody grants a larger one.
const LARGEST: u32 = 256;

/// Compares the page at whose ends the firmware cuts writes with the part's page: what runs past the end of a page
/// lands at the start of the same page, over what was there.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let page = new.page_bytes.value;
    if new.kind == Kind::Fram {
        return Vec::new();
    }
    let cuts = Cuts::of_writes(&board.firmware);
    let mut written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
    let Some((region, it)) = written.find_map(|region| Some((region, cuts.crossing(region, page)?))) else {
        return Vec::new();
    };
    let text = format!(
        "the firmware cuts at {} bytes, the part's page is {page}: writing `{}` sends {} bytes to {:#06x}, past the \
         page end at {:#06x}",
        board.firmware.page_bytes,
        region.name,
        it.end - it.start,
        it.start,
        (it.start / page + 1) * page
    );
    let remedy = format!("set the firmware's page to {page} bytes");
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.page_bytes, text, remedy);
    let needed = board.firmware.page_bytes;
    let fits = needed.is_power_of_two() && needed <= LARGEST.min(new.capacity_bytes.value);
    let finding = finding.hazard(Hazard::PageWrap);
    let granted = || finding.clone().unless(format!("its page is at least {needed} bytes"), Amend::Page(needed));
    vec![if fits { granted() } else { finding }]
}

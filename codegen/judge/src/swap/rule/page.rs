use pagewise_simulator::Hazard;

use super::Rule;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::Kind;

pub(super) const RULE: Rule = Rule {
    id: "page",
    compares: "the page at whose ends the firmware cuts writes with the part's page",
    why: "what runs past the end of a page lands at the start of the same page, over what was there",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let page = new.page_bytes.value;
    if new.kind == Kind::Fram {
        return Vec::new();
    }
    let written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
    let crossing = written.filter_map(|region| {
        let pieces = board.firmware.write_pieces(region);
        let piece = pieces.into_iter().find(|piece| piece.offset / page != (piece.offset + piece.length - 1) / page)?;
        Some((region, piece))
    });
    let Some((region, piece)) = crossing.into_iter().next() else { return Vec::new() };
    let text = format!(
        "the firmware cuts at {} bytes, the part's page is {page}: writing `{}` sends {} bytes to {:#06x}, past the \
         page end at {:#06x}",
        board.firmware.page_bytes,
        region.name,
        piece.length,
        piece.offset,
        (piece.offset / page + 1) * page
    );
    let remedy = format!("set the firmware's page to {page} bytes");
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.page_bytes, text, remedy);
    vec![finding.hazard(Hazard::PageWrap)]
}

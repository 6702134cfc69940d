use pagewise_simulator::Hazard;

use super::Rule;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::role;

pub(super) const RULE: Rule = Rule {
    id: "block-select",
    compares: "where the firmware puts block-select bits with where the part looks for them, over the bytes in use",
    why: "block bits that the part ignores make blocks fall on each other; bits elsewhere reach other blocks or nobody",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let firmware = &board.firmware;
    let levels = board.levels_for(new);
    // Other rules speak for these.
    let reached =
        board.used_bytes() <= new.reachable_bytes() && new.block_of(firmware.device_address, levels).is_some();
    if firmware.word_address_bytes != new.word_address_bytes.value || !reached {
        return Vec::new();
    }
    let width = 8 * u32::from(new.word_address_bytes.value);
    let wrong = board.regions.iter().flat_map(|region| {
        let first = region.offset >> width;
        let last = (region.offset + region.length - 1) >> width;
        first..=last
    });
    let wrong = wrong.map(|block| (block, firmware.address(block << width)));
    let Some((block, address)) = wrong.into_iter().find(|(block, sent)| new.block_of(*sent, levels) != Some(*block))
    else {
        return Vec::new();
    };
    let found = match new.block_of(address, levels) {
        Some(other) => format!("the part takes it for block {other}"),
        None => "the part does not answer it".to_owned(),
    };
    let text =
        format!("for block {block} the firmware sends {address:#04x}; {found} ({})", role::row(&new.device_bits()));
    let remedy = format!(
        "use {} block-select bit(s) as the part has them, device address {:#04x}",
        new.block_select_bits(),
        new.device_address(levels)
    );
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.address_bits, text, remedy);
    vec![finding.hazard(Hazard::BlockAlias)]
}

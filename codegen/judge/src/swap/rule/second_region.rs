use super::Rule;
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::{Card, Region, RegionKind, assume};

pub(super) const RULE: Rule = Rule { id: super::SECOND_REGION, check };

/// Compares serial number, identification page and EUI that the firmware uses with those of the part: a part without
/// the region has nothing to read there, and one with it elsewhere answers another address.
fn check(case: &Case<'_>) -> Vec<Finding> {
    case.board.uses.iter().filter_map(|kind| one(case, *kind)).collect()
}

fn region(card: &Card, kind: RegionKind) -> Option<&Region> {
    card.regions.iter().find(|region| region.kind == kind)
}

fn is_read(region: &Region) -> bool {
    region.address_read && region.word_address_read
}

/// What nobody read of a region, of the one part or the other, is a condition.
fn unread(case: &Case<'_>, region: &Region, name: &str, text: String) -> Finding {
    let (what, fact) = if region.address_read {
        ("word address", assume::REGION_WORD_ADDRESS.fact().map(|_| ()))
    } else {
        ("device address", assume::REGION_ADDRESS.fact())
    };
    let remedy = format!("look for its {what} in the data sheet");
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &fact, text, remedy);
    let proviso = format!("its {name} lies where the fitted part has it");
    finding.not_simulated().unless(proviso, Amend::Package(case.board.footprint))
}

fn one(case: &Case<'_>, kind: RegionKind) -> Option<Finding> {
    let name = serde_json::to_value(kind).ok()?.as_str()?.to_owned();
    let fact = &case.new.capacity_bytes;
    let Some(now) = region(&case.new, kind) else {
        let text = format!("the firmware uses the {name}, the part has none that the sheet read describes");
        let remedy = "take a part that has it, or keep the data in the array".to_owned();
        return Some(Finding::new(RULE.id, Verdict::Reject, fact, text, remedy).not_simulated());
    };
    if !is_read(now) {
        let text = format!("the firmware uses the {name}, of the part's it was not read where it lies");
        return Some(unread(case, now, &name, text));
    }
    let before = region(&case.old, kind)?;
    if !is_read(before) {
        let text = format!("the firmware uses the {name}, of the fitted part's it was not read where it lies");
        return (!case.is_of_fitted()).then(|| unread(case, before, &name, text));
    }
    let same =
        before.device_bits == now.device_bits && before.word_address == now.word_address && before.length == now.length;
    if same {
        return None;
    }
    let text = format!(
        "the {name} lies at {:#06x}, {} bytes, on the fitted part, and at {:#06x}, {} bytes, on this one",
        before.word_address, before.length, now.word_address, now.length
    );
    let remedy = "change where the firmware reads it".to_owned();
    Some(Finding::new(RULE.id, Verdict::Reconfigure, fact, text, remedy).not_simulated())
}

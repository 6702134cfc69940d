use super::Rule;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::role;

pub(super) const RULE: Rule = Rule {
    id: "device-address",
    compares: "the firmware's device address with what the part answers at these straps",
    why: "a part that compares pins where the old one ignored them, or has another code, does not answer at all",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let address = board.firmware.device_address;
    let levels = board.levels_for(new);
    if new.block_of(address, levels).is_some() {
        return Vec::new();
    }
    let own = new.device_address(levels);
    let text = format!(
        "the firmware sends {address:#04x}, the part is at {own:#04x} with these straps ({})",
        role::row(&new.device_bits())
    );
    let remedy = format!("set the firmware's device address to {own:#04x}");
    vec![Finding::new(RULE.id, Verdict::Reconfigure, &new.address_bits, text, remedy)]
}

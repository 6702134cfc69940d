use pagewise_simulator::Hazard;

use super::Rule;
use crate::swap::{Amend, Case, Finding, Verdict, remedy};
use pagewise_part::card::{Role, role};

pub(super) const RULE: Rule = Rule {
    id: "address-conflict",
    compares: "every address that the part answers with the other devices on the bus",
    why: "two devices that answer together spoil each other's reads and both take the writes",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let shared = remedy::conflicts(new, board);
    if let Some(first) = shared.first() {
        let answers = new.answers(board.levels_for(new)).len();
        let text = format!(
            "the part answers {answers} address{} ({}), among them {first:#04x} of another device",
            if answers == 1 { "" } else { "es" },
            role::row(&new.device_bits())
        );
        let (verdict, remedy) = match remedy::reworked(board, new) {
            Some(_) => (Verdict::Rework, "strap the part to another address"),
            None => (Verdict::Reject, "no straps give it an address of its own: take a part that compares its pins"),
        };
        let finding = Finding::new(RULE.id, verdict, &new.address_bits, text, remedy.into());
        return vec![finding.hazard(Hazard::AddressConflict)];
    }
    if !new.address_bits.is_assumed() {
        return Vec::new();
    }
    // A pin whose role nobody stated may be ignored instead: then the part fills all addresses that differ in it.
    let mut unsure = new.clone();
    unsure.address_bits.value =
        new.address_bits.value.map(|role| if role.pin().is_some() { Role::Ignored } else { role });
    let shared = remedy::conflicts(&unsure, board);
    match shared.first() {
        Some(first) => {
            let text = format!("if the part ignores address pins, it answers {first:#04x} of another device too");
            let finding = Finding::new(RULE.id, Verdict::Reject, &new.address_bits, text, "ask the maker".into());
            let granted = Amend::AddressBits(new.address_bits.value);
            vec![finding.hazard(Hazard::AddressConflict).unless("it compares its address pins", granted)]
        }
        None => Vec::new(),
    }
}

use pagewise_simulator::Hazard;

use super::Rule;
use super::answers::{Seat, free_place};
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::Role;

pub(super) const RULE: Rule = Rule { id: "address-conflict", check };

/// Compares every address that the part answers with the other devices on the bus: two devices that answer together
/// spoil each other's reads and both take the writes.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let seat = Seat::on(board, new);
    if let Some(first) = seat.shared(board) {
        let answers = seat.answered().len();
        let text = format!(
            "the part answers {answers} address{} ({}), among them {first:#04x} of another device",
            if answers == 1 { "" } else { "es" },
            seat.row()
        );
        let (verdict, remedy, changes) = match free_place(board, new) {
            Some(place) => {
                let tied = place.words(board).join(", ");
                let remedy = format!(
                    "tie {tied}; the part is then at {0:#04x}: set the firmware's device address to {0:#04x}",
                    place.address
                );
                (Verdict::Rework, remedy, place.changes(board))
            }
            None => {
                let remedy = "no straps give it an address of its own: take a part that compares its pins";
                (Verdict::Reject, remedy.to_owned(), Vec::new())
            }
        };
        let finding = Finding::new(RULE.id, verdict, &new.address_bits, text, remedy).change(changes);
        return vec![finding.hazard(Hazard::AddressConflict)];
    }
    if !new.address_bits.is_assumed() {
        return Vec::new();
    }
    // A pin whose role nobody stated may be ignored instead: then the part fills all addresses that differ in it.
    let mut unsure = pagewise_part::card::Card::clone(new);
    unsure.address_bits.value =
        new.address_bits.value.map(|role| if role.pin().is_some() { Role::Ignored } else { role });
    match Seat::on(board, &unsure).shared(board) {
        Some(first) => {
            let text = format!("if the part ignores address pins, it answers {first:#04x} of another device too");
            let finding = Finding::new(RULE.id, Verdict::Reject, &new.address_bits, text, "ask the maker".into());
            vec![finding.hazard(Hazard::AddressConflict).unless("it compares its address pins", Amend::AddressBits)]
        }
        None => Vec::new(),
    }
}

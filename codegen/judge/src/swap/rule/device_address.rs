use super::Rule;
use super::answers::{Seat, place};
use crate::swap::{Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule { id: "device-address", check };

/// Compares the firmware's device address with what the part answers at these straps: a part that compares pins where
/// the old one ignored them, or has another code, does not answer at all.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let address = board.firmware.device_address;
    let seat = Seat::on(board, new);
    if seat.block(address).is_some() {
        return Vec::new();
    }
    let own = seat.own_address().map_or_else(|| "nowhere".to_owned(), |own| format!("at {own:#04x}"));
    let text = format!("the firmware sends {address:#04x}, the part is {own} with these straps ({})", seat.row());
    // An address that another device has is not a remedy; what the part is tied to then is said with that conflict.
    let place = place(board, new);
    let remedy = match place {
        Some(place) => format!("set the firmware's device address to {:#04x}", place.address),
        None => "no device address is free for it".to_owned(),
    };
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.address_bits, text, remedy);
    vec![finding.change(place.into_iter().flat_map(|place| place.changes(board)))]
}

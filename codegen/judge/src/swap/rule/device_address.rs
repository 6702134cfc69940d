use super::Rule;
use super::answers::{Seat, place};
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_part::card::role;

pub(super) const RULE: Rule = Rule { id: "device-address", check };

/// Compares the firmware's device address with what the part answers at these straps: a part that compares pins where
/// the old one ignored them, or has another code, does not answer at all.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let address = board.firmware.device_address;
    let seat = Seat::on(board, new);
    if seat.block(address).is_some() {
        return unread(case).into_iter().collect();
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
    let finding = finding.change(place.into_iter().flat_map(|place| place.changes(board)));
    std::iter::once(finding).chain(unread(case)).collect()
}

/// Where the part is rests on its device address being composed in the usual way, and nobody stated that.
fn unread(case: &Case<'_>) -> Option<Finding> {
    let new = &case.new;
    let (what, bits) = match (new.device_code.is_assumed(), new.address_bits.is_assumed()) {
        (true, _) => ("device address", new.device_code.map(|_| ())),
        (false, true) => ("low address bits", new.address_bits.map(|_| ())),
        (false, false) => return None,
    };
    if case.is_of_fitted() {
        return None;
    }
    let text =
        format!("the firmware sends {:#04x}; the {what} of the part was not read", case.board.firmware.device_address);
    let remedy = "look for the device address in the data sheet".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &bits, text, remedy).not_simulated();
    Some(finding.unless(super::composed(&role::row(&new.device_bits())), Amend::AddressBits))
}

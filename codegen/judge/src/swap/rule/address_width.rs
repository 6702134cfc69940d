use pagewise_simulator::Hazard;

use super::Rule;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::UpperBits;

pub(super) const RULE: Rule = Rule { id: "address-width", check };

/// Compares the word-address bytes that the firmware sends with those that the part takes: a byte too few makes the
/// part take the first data byte for an address; a byte too many is stored as data.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (sent, wanted) = (case.board.firmware.word_address_bytes, &case.new.word_address_bytes);
    if sent == wanted.value {
        return Vec::new();
    }
    let mut text = format!("the firmware sends {sent} word-address byte(s), the part takes {}", wanted.value);
    if case.new.upper_address_bits.value == UpperBits::SecurityCommand {
        text += "; it takes a first byte from 0x80 on for a command that cannot be undone";
    }
    let remedy = format!("send {} word-address byte(s)", wanted.value);
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, wanted, text, remedy);
    vec![finding.hazard(Hazard::AddressWidth)]
}

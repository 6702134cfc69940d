use super::Rule;
use crate::swap::{Case, Finding, Verdict};
use pagewise_part::card::Kind;

pub(super) const RULE: Rule = Rule { id: "kind", check };

/// Compares the kind of memory behind the bus: a FRAM has neither page nor write cycle; it serves where an EEPROM
/// did, at a higher price per bit, but an EEPROM does not serve where firmware relied on a FRAM.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (verdict, text) = match (case.old.kind, case.new.kind) {
        (Kind::Eeprom, Kind::Fram) => (Verdict::DropIn, "an EEPROM is replaced by a FRAM"),
        // Whether page and write cycle hurt is for the rules on page, write cycle and endurance to say.
        (Kind::Fram, Kind::Eeprom) => (Verdict::DropIn, "a FRAM is replaced by an EEPROM"),
        _ => return Vec::new(),
    };
    let remedy = "weigh price, endurance and the missing write cycle against each other";
    vec![Finding::new(RULE.id, verdict, &case.new.capacity_bytes, text.into(), remedy.into())]
}

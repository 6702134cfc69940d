use pagewise_simulator::Hazard;

use super::Rule;
use crate::board::Strap;
use crate::swap::{Amend, Case, Change, Finding, Verdict};
use pagewise_part::card::Open;

pub(super) const RULE: Rule = Rule { id: "straps", check };

/// Compares address pins left open, and pins that the part wants tied to a level: an open pin without a pull inside
/// reads as anything, and the part moves to another address or vanishes.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let mut findings = Vec::new();
    for pin in 0..3u8 {
        let compared = new.device_bits().iter().any(|role| role.pin() == Some(pin));
        if compared && board.straps[usize::from(pin)] == Strap::Open && new.open_strap.value == Open::Random {
            let text = format!("A{pin} is open on the board, and the part compares it without a pull inside");
            let remedy = format!("tie A{pin} to ground or supply");
            let finding = Finding::new(RULE.id, Verdict::Rework, &new.open_strap, text, remedy)
                .change([Change::Strap(pin, Strap::Gnd)]);
            findings.push(
                finding
                    .hazard(Hazard::FloatingPin)
                    .unless("an open address pin reads low", Amend::OpenStrap(Open::Low)),
            );
        }
    }
    for (pin, high) in &new.required_straps {
        let (level, wanted) = if *high { (Strap::Vcc, "supply") } else { (Strap::Gnd, "ground") };
        let strap = board.straps[usize::from(*pin)];
        if strap != level {
            let text = format!("A{pin} is {} on the board, the part works only with it at {wanted}", strap.word());
            let remedy = format!("tie A{pin} to {wanted}");
            let finding = Finding::new(RULE.id, Verdict::Rework, &new.address_bits, text, remedy);
            findings.push(finding.change([Change::Strap(*pin, level)]));
        }
    }
    findings
}

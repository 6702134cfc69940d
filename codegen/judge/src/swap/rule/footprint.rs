use std::collections::BTreeMap;

use super::Rule;
use crate::swap::{Amend, Case, Finding, Verdict};
use pagewise_base::words::listed;
use pagewise_part::card::{Offer, Package, assume, pin_in, role};
use pagewise_part::fact::Fact;

pub(super) const RULE: Rule = Rule { id: super::FOOTPRINT, check };

/// Signals that must be where the board has them. A lost WP is judged by its own rule.
const SIGNALS: [&str; 8] = ["VCC", "VSS", "SDA", "SCL", "WP", "A0", "A1", "A2"];

/// Compares the board's footprint with the packages that the part is made in, and pin by pin what is on it: a part that is
/// not made in the board's package, or has its supply or bus on other pins of it, needs another board.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (footprint, new) = (case.board.footprint.word(), &case.new);
    let made = format!("it is made in {footprint}");
    match new.packages.offer(case.board.footprint) {
        // That the fitted part is on its board shows what its documents leave open.
        Offer::Made(_) | Offer::Uncertain(_) | Offer::NotKnown if case.is_of_fitted() => Vec::new(),
        Offer::Made(package) => on_the_board(case, package),
        Offer::NotMade => {
            let others =
                listed(new.packages.list.iter().filter(|package| package.current).map(|it| it.footprint.word()));
            let text = format!("{footprint} on the board, the part is made in {others}");
            vec![stated(case, text, "change the footprint, or take another part".to_owned())]
        }
        Offer::Uncertain(package) => {
            let why = package.note.as_deref().unwrap_or("not in the list read last");
            let text = format!("{footprint} on the board, in which the part may be made: {why}");
            vec![open(case, text, "ask for the order code in this package", made)]
        }
        Offer::NotKnown => {
            let text = format!("{footprint} on the board, not among the packages known of this part");
            vec![open(case, text, "look for the package in the data sheet, or change the footprint", made)]
        }
    }
}

/// The part in the board's package, pin by pin.
fn on_the_board(case: &Case<'_>, package: &Package) -> Vec<Finding> {
    let footprint = case.board.footprint;
    let fitted = case.old.package_for(footprint).and_then(|fitted| fitted.pins.as_ref());
    let usual = if fitted.is_none() { footprint.usual_pins() } else { None };
    let mut findings = Vec::new();
    match (fitted.or(usual.as_ref()), &package.pins) {
        (Some(board), Some(part)) => {
            let moved = moved(board, part);
            if !moved.is_empty() {
                let text = format!("{} on the board; on the part {}", places(&moved, 0), places(&moved, 1));
                let remedy = format!("change the board: {} lie elsewhere", listed(moved.iter().map(|it| it.0)));
                findings.push(stated(case, text, remedy));
            }
        }
        _ => {
            let text = format!("which signal is on which pin in {} was not read", footprint.word());
            let remedy = "compare the pins in both data sheets";
            findings.push(open(
                case,
                text,
                remedy,
                format!("its pins in {} are those of the fitted part", footprint.word()),
            ));
        }
    }
    if let Some(other) = footprint.other_order().filter(|other| case.new.package_for(*other).is_some()) {
        let text = format!("{} on the board, the part is sold as {} too", footprint.word(), other.word());
        let remedy = "take the order code of the pin order on the board";
        findings.push(open(case, text, remedy, format!("its order code is that of {}", footprint.word())));
    }
    if !package.address_is_read() {
        let text = format!("how its address bits are read in {} was not read", footprint.word());
        let remedy = "look for the device address of this package in the data sheet";
        let proviso = if case.new.address_bits.is_assumed() {
            super::composed(&role::row(&case.new.device_bits()))
        } else {
            format!("its device address in {} is composed as in its other packages", footprint.word())
        };
        findings.push(open(case, text, remedy, proviso));
    }
    findings
}

/// A signal that lies elsewhere, its pin on the board, its pin on the part.
type Moved<'p> = (&'static str, &'p str, &'p str);

fn moved<'p>(board: &'p BTreeMap<String, String>, part: &'p BTreeMap<String, String>) -> Vec<Moved<'p>> {
    // Most parts of a package have the same pins in the same words.
    if board == part {
        return Vec::new();
    }
    let both = |wanted: &&'static str| Some((*wanted, pin_in(board, wanted)?, pin_in(part, wanted)?));
    SIGNALS.iter().filter_map(both).filter(|(_, on_board, on_part)| on_board != on_part).collect()
}

fn places(moved: &[Moved<'_>], side: usize) -> String {
    listed(
        moved.iter().map(|(signal, on_board, on_part)| {
            format!("{signal} on pin {}", if side == 0 { on_board } else { on_part })
        }),
    )
}

fn stated(case: &Case<'_>, text: String, remedy: String) -> Finding {
    let fact = Fact { value: (), basis: case.new.packages.basis.clone() };
    Finding::new(RULE.id, Verdict::Rework, &fact, text, remedy).not_simulated()
}

/// What no document read says.
fn open(case: &Case<'_>, text: String, remedy: &str, proviso: String) -> Finding {
    let finding = Finding::new(RULE.id, Verdict::Rework, &assume::PACKAGE_MADE.fact(), text, remedy.to_owned());
    finding.not_simulated().unless(proviso, Amend::Package(case.board.footprint))
}

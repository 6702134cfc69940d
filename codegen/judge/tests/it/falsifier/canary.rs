//! The falsifier blinded: each wrong verdict that was once given is made possible again, in what the rules are told or in what
//! they find, and must be found.

use std::sync::Arc;

use pagewise_judge::swap::{Case, Finding, Judges, Verdict, rule};
use pagewise_part::card::{Card, Footprint};
use pagewise_part::fact::Basis;

use super::mutate::Kind;
use super::{Cards, boards, falsify, revision};

/// Judges whose rules see another candidate than there is, and of whose findings some are dropped.
fn blind(see: fn(&mut Card, &Card), find: fn(&Finding) -> bool) -> Arc<Judges> {
    let rules = move |case: &Case<'_>| {
        let mut seen = case.clone();
        see(Arc::make_mut(&mut seen.new), &case.old);
        let all = rule::all(&seen).into_iter();
        all.filter(|finding| finding.verdict == Verdict::DropIn || find(finding)).collect()
    };
    Arc::new(Judges { rules: Box::new(rules), ..Judges::default() })
}

fn as_it_is(_: &mut Card, _: &Card) {}

fn all(_: &Finding) -> bool {
    true
}

/// Pin-outs were free text that nothing read: 24LC014 to 34LC02 on six leads.
fn pins_are_text(new: &mut Card, old: &Card) {
    for package in &mut Arc::make_mut(&mut new.packages).list {
        let fitted = old.package_for(package.footprint).and_then(|it| it.pins.clone());
        package.pins = fitted.or_else(|| package.footprint.usual_pins());
    }
}

fn taken_for(new: &mut Card, from: Footprint, to: Footprint) {
    let known = new.packages.list.iter().any(|package| package.footprint == to);
    for package in
        Arc::make_mut(&mut new.packages).list.iter_mut().filter(|package| package.footprint == from && !known)
    {
        package.footprint = to;
        package.pins = to.usual_pins();
    }
}

/// Rotated packages counted as the usual ones: AT24C64D to 24LC64.
fn rotated_is_usual(new: &mut Card, _: &Card) {
    taken_for(new, Footprint::Tssop8Rotated, Footprint::Tssop8);
}

/// Any entry counted as a package with known addresses: 24LC256 in MSOP.
fn unread_is_usual(new: &mut Card, _: &Card) {
    let [_, _, _, usual @ ..] = new.device_bits();
    let package = |at: usize| usual.get(at).copied();
    for entry in &mut Arc::make_mut(&mut new.packages).list {
        entry.address_bits = [0, 1, 2].map(|at| entry.address_bits[at].or_else(|| package(at + 1)));
    }
}

/// The wide body counted as the narrow one: AT24C1024.
fn wide_is_narrow(new: &mut Card, _: &Card) {
    taken_for(new, Footprint::Soic8Wide, Footprint::Soic8);
}

/// A supply at the very bound that stands in for an unread one was in order.
fn not_on_the_bound(finding: &Finding) -> bool {
    !(finding.rule == "supply" && finding.compared.ends_with("the part's supply was not read"))
}

/// A rate without volts counted for the whole supply, as published.
fn volts_are_all(new: &mut Card, _: &Card) {
    let (low, high) = (new.read_min_mv.value, new.max_mv.value);
    let fastest = new.speed.value.iter().map(|grade| grade.scl_khz).max().unwrap_or(0);
    for grade in &mut new.speed.value {
        (grade.min_mv, grade.max_mv, grade.assumed) = (low, high, false);
        grade.scl_khz = fastest.max(400);
    }
    new.speed.basis = Basis::Published { document: "taken for published".into() };
}

#[test]
fn each_wrong_verdict_that_was_once_given_is_found_again() {
    let cards = Cards::read();
    let boards = boards(&cards, 12);
    let cases: [(&str, Kind, Arc<Judges>); 8] = [
        ("pins are free text", Kind::Pin, blind(pins_are_text, all)),
        ("rotated counts as usual", Kind::Package, blind(rotated_is_usual, all)),
        ("an unread address is the usual one", Kind::AddressRole, blind(unread_is_usual, all)),
        ("wide counts as narrow", Kind::Package, blind(wide_is_narrow, all)),
        ("an unread supply is in order at its bound", Kind::Supply, blind(as_it_is, not_on_the_bound)),
        ("lost protection is a note", Kind::WpRange, blind(as_it_is, |it| it.rule != "lost-protection")),
        ("a rate without volts holds at every supply", Kind::Grade, blind(volts_are_all, all)),
        ("no rule on temperature", Kind::Temperature, blind(as_it_is, |it| it.rule != "temperature")),
    ];
    for (what, kind, judges) in cases {
        let tally = falsify(&cards, &boards, &[kind], 80, &judges);
        println!("{what}: {} survivors, first {:?}", tally.survivors.len(), tally.survivors.first());
        assert!(!tally.survivors.is_empty(), "{what} goes unnoticed");
    }
}

/// A reader that passes over letters, as the one that took AT24C16D for AT24C16.
#[test]
fn a_reader_that_passes_over_letters_is_found() {
    let cards = Cards::read();
    let lenient = |code: &str| {
        let mut ends = (4..=code.len()).rev().filter(|end| code.is_char_boundary(*end));
        ends.find_map(|end| cards.catalogue.find(&code[..end])).map(|card| card.id.clone())
    };
    let found = revision::passed_over(&cards, &lenient);
    assert!(found.iter().any(|it| it.starts_with("AT24C16")), "{found:?}");
}

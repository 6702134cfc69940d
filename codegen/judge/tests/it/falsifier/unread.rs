//! What nobody stated is never taken for yes: a fact that a card leaves open may turn out to be any value that another card
//! states. Where that would be worse, the verdict must have said so by a condition of the same rule.
//!
//! The list of facts is the table of assumptions itself, so that a row added there is asked about here.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use pagewise_judge::board::Board;
use pagewise_judge::swap::{Finding, Fitted, Judgement, Judges, Verdict, rule};
use pagewise_part::card::assume;
use rayon::prelude::*;
use toml::{Table, Value};

use super::edit::{get, set};
use super::mutate::Draw;
use super::{Cards, boards, loaded};
use crate::search::{scaled, seed};

/// What a sheet names where the part has it; not being told of it is what its absence looks like.
const NAMED_WHERE_IT_IS: [&str; 2] = ["write_protect.fixed", "write_cycle.per"];

/// What the size of the array bounds: only parts of the same size tell what it may be.
const BY_SIZE: [&str; 4] = ["page_bytes", "read_wrap_bytes", "word_address_bytes", "address_bits"];

/// Published of parts without a card: the device code of a pin-compatible twin.
const WITHOUT_CARD: [(&str, &str); 1] = [("device_code", "0 0 1 0")];

/// Every value that some card states, with that card's size, by the field that the table of assumptions would fill.
fn stated(cards: &Cards) -> BTreeMap<&'static str, Vec<(Value, Value)>> {
    let asked = assume::REASONS.iter().map(|(field, _)| *field).filter(|field| !NAMED_WHERE_IT_IS.contains(field));
    let values = |field: &'static str| {
        let by_size = BY_SIZE.contains(&field);
        let size = |card: &Table| if by_size { card["capacity_bits"].clone() } else { Value::from(0) };
        let all = cards.texts.values().filter_map(|card| Some((size(card), get(card, field)?.clone())));
        let others = WITHOUT_CARD.iter().filter(|(other, _)| *other == field);
        let all = all.chain(others.map(|(_, value)| (Value::from(0), Value::from(*value))));
        let told: BTreeMap<String, (Value, Value)> = all.map(|both| (format!("{both:?}"), both)).collect();
        (field, told.into_values().collect::<Vec<_>>())
    };
    asked.map(values).filter(|(_, values)| !values.is_empty()).collect()
}

fn asks(judgement: &Judgement) -> impl Iterator<Item = &Finding> {
    judgement.findings.iter().filter(|finding| finding.asks())
}

/// Rules that speak of one fact: a condition by the first covers what the second finds.
const ONE_FACT: [(&str, &str); 3] =
    [("device-address", "block-select"), ("device-address", "address-conflict"), ("device-address", "straps")];

/// Whether the verdict got worse by a rule that had no condition. What the board has with its fitted part too is excused only
/// as long as nothing else is wrong, so it is not what makes a verdict worse.
fn is_unsaid(before: &Judgement, after: &Judgement) -> bool {
    let known = before.findings.iter().filter(|finding| finding.proviso.is_some() || finding.with_fitted);
    let known: BTreeSet<&str> = known.map(|finding| finding.rule).collect();
    let covered =
        |rule: &str| ONE_FACT.iter().any(|(by, other)| *other == rule && known.contains(by)) || known.contains(rule);
    let worse = asks(after).filter(|finding| finding.verdict > before.verdict);
    after.verdict > before.verdict && worse.into_iter().any(|finding| !covered(finding.rule))
}

/// Draws open facts of candidates that are drop-ins, and fills them with what others state. How many were tried, and those
/// that made a verdict worse without a word before.
fn fill(cards: &Cards, boards: &[Board], changes: usize, judges: &Arc<Judges>) -> (usize, Vec<String>) {
    let stated = stated(cards);
    let fields: Vec<&str> = stated.keys().copied().collect();
    let one = |(number, board): (usize, &Board)| {
        let old = cards.catalogue.find(&board.fitted).expect("its card");
        let fitted = Fitted::judged_by(board, old, Arc::clone(judges));
        let others = cards.texts.keys().filter(|id| **id != old.id);
        let all = others.map(|id| (id.as_str(), fitted.judge(cards.catalogue.find(id).expect("its card"))));
        let drop_ins: Vec<(&str, Judgement)> =
            all.filter(|(_, judgement)| judgement.verdict == Verdict::DropIn).collect();
        let mut draw = Draw(seed() ^ (number as u64) << 32);
        let (mut tried, mut unsaid) = (0, Vec::new());
        for _ in 0..if drop_ins.is_empty() { 0 } else { 40 * changes } {
            let (id, before) = &drop_ins[draw.below(drop_ins.len())];
            let field = fields[draw.below(fields.len())];
            let card: &Table = &cards.texts[*id];
            if tried == changes || get(card, field).is_some() {
                continue;
            }
            let (size, value) = &stated[field][draw.below(stated[field].len())];
            if BY_SIZE.contains(&field) && *size != card["capacity_bits"] {
                continue;
            }
            let mut filled = card.clone();
            set(&mut filled, field, value.clone());
            let Some(filled) = loaded(&filled) else { continue };
            tried += 1;
            let after = fitted.judge(&filled);
            if is_unsaid(before, &after) {
                let by: Vec<&str> = asks(&after).map(|finding| finding.rule).collect();
                unsaid.push(format!("{field} = {value}: {}: {} to {id}, by {by:?}", board.file, old.id));
            }
        }
        (tried, unsaid)
    };
    let both = |(tried, mut unsaid): (usize, Vec<String>), (more, others): (usize, Vec<String>)| {
        unsaid.extend(others);
        (tried + more, unsaid)
    };
    boards.par_iter().enumerate().map(one).reduce(Default::default, both)
}

#[test]
fn an_open_fact_that_turns_out_badly_was_a_condition() {
    let cards = Cards::read();
    println!("seed {:#x}", seed());
    let boards = boards(&cards, scaled(40).min(600) as usize);
    let (tried, unsaid) = fill(&cards, &boards, scaled(4000) as usize / boards.len(), &Arc::default());
    println!("{tried} open facts filled");
    assert!(tried > 500, "{tried}");
    let mut kinds: BTreeMap<&str, Vec<&String>> = BTreeMap::new();
    for one in &unsaid {
        kinds.entry(one.split(" = ").next().unwrap_or_default()).or_default().push(one);
    }
    let first: Vec<_> = kinds.values().map(|all| (all.len(), all[0])).collect();
    assert!(unsaid.is_empty(), "{} of {tried}: {first:#?}", unsaid.len());
}

/// The device code was taken for 1010 where nobody had read it.
#[test]
fn a_rule_that_takes_an_unread_code_for_granted_is_found() {
    let cards = Cards::read();
    let silent = |finding: &Finding| finding.rule != "device-address" || finding.proviso.is_none();
    let rules = move |case: &pagewise_judge::swap::Case<'_>| rule::all(case).into_iter().filter(silent).collect();
    let judges = Arc::new(Judges { rules: Box::new(rules), ..Judges::default() });
    let (_, unsaid) = fill(&cards, &boards(&cards, 12), 200, &judges);
    assert!(unsaid.iter().any(|it| it.starts_with("device_code")), "{unsaid:#?}");
}

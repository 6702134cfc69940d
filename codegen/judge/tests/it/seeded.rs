//! Errors seeded into one judge, one at a time: the other must notice at least 95 of 100. What is seeded stands in
//! [`rules`] (a rule that reads a card or a board wrongly, finds nothing, asks too much or too little, or grants the
//! wrong thing) and in [`chips`] (a chip that is simulated otherwise than its card says).
//!
//! `cargo test -p pagewise-judge --test it seeded -- --nocapture` prints the counts and what goes unnoticed;
//! `PAGEWISE_CASES=10` tries ten times as many boards.

mod chips;
mod rules;

use std::sync::Arc;

use pagewise_judge::swap::{Agreement, Fitted, Judges};
use pagewise_part::card::{Card, Catalogue};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;

use super::agreement::findings;
use super::boards::{Swap, close_swaps, made_up, swaps};
use super::search::scaled;

/// One error in one judge.
struct Seeded {
    name: String,
    judges: Judges,
}

/// Errors that the other judge must notice, of a hundred.
const NOTICED: usize = 95;

/// Random swaps, half of them close to limits, the same in each run.
fn some_swaps(cards: &[Card]) -> Vec<Swap> {
    let mut runner = TestRunner::deterministic();
    let (any, close) = (swaps(cards), close_swaps(cards));
    let pairs = (0..scaled(1500)).flat_map(|_| {
        let any = any.new_tree(&mut runner).unwrap().current();
        [close.new_tree(&mut runner).unwrap().current(), any]
    });
    pairs.collect()
}

fn cards() -> Vec<Card> {
    made_up(Catalogue::embedded().unwrap().cards())
}

/// After how many swaps an error shows: in a disagreement, or as a model that its own check refuses.
fn noticed_after(judges: Judges, swaps: &[Swap], cards: &[Card]) -> Option<usize> {
    let judges = Arc::new(judges);
    swaps.iter().position(|swap| {
        // A model that contradicts itself is refused before any firmware runs on it.
        let refused = |card: &Card| (judges.chips)(card).check().is_err();
        if refused(&cards[swap.old]) || refused(&cards[swap.new]) {
            return true;
        }
        let fitted = Fitted::judged_by(&swap.board, &cards[swap.old], Arc::clone(&judges));
        fitted.judge(&cards[swap.new]).agree == Agreement::Disagree
    })
}

fn all_noticed(what: &str, errors: Vec<Seeded>) {
    let cards = cards();
    let swaps = some_swaps(&cards);
    assert_eq!(errors.len(), 100, "errors in {what}");
    let mut unnoticed = Vec::new();
    for Seeded { name, judges } in errors {
        match noticed_after(judges, &swaps, &cards) {
            Some(after) => println!("{what}: {name}: noticed after {after} boards"),
            None => unnoticed.push(name),
        }
    }
    println!("{what}: {} of 100 noticed; unnoticed: {unnoticed:#?}", 100 - unnoticed.len());
    assert!(100 - unnoticed.len() >= NOTICED, "errors in {what} that go unnoticed: {unnoticed:#?}");
}

#[test]
fn errors_in_the_rules_are_noticed_by_the_simulation() {
    all_noticed("rules", rules::errors());
}

#[test]
fn errors_in_the_simulated_chips_are_noticed_by_the_rules() {
    all_noticed("chips", chips::errors());
}

/// The canary: judges without an error are in agreement on the very boards that show the errors.
#[test]
fn without_an_error_nothing_is_noticed() {
    let cards = cards();
    let swaps = some_swaps(&cards);
    let found = noticed_after(Judges::default(), &swaps, &cards);
    let shown = found.map(|at| {
        let Swap { board, old, new } = &swaps[at];
        let judgement = Fitted::new(board, &cards[*old]).judge(&cards[*new]);
        format!("{board:#?}\n{}", findings(&judgement, &cards[*old], &cards[*new]))
    });
    assert!(shown.is_none(), "{}", shown.unwrap_or_default());
}

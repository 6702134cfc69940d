//! The fewest parts and the order of stock lists, computed a second time by programs that are not ours: the integer
//! programming solver HiGHS (through SciPy), and csv and decimal of Python.

use std::fmt::Write;
use std::path::Path;

use pagewise_judge::fleet::cover;
use pagewise_judge::stock::{Columns, Offer, Stock, read};
use pagewise_part::card::Catalogue;
use pagewise_tests::python::Python;
use pagewise_tests::search::seed;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::{Value, json};

/// Values drawn from a strategy with the seed of the searches.
fn drawn<S: Strategy>(strategy: &S, count: usize) -> Vec<S::Value> {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed().to_le_bytes());
    let mut runner = TestRunner::new_with_rng(Config::default(), TestRng::from_seed(RngAlgorithm::ChaCha, &bytes));
    (0..count).map(|_| strategy.new_tree(&mut runner).expect("nothing is filtered").current()).collect()
}

/// Up to sixty boards and forty parts, each board served by a few of them.
fn boards() -> impl Strategy<Value = Vec<Vec<usize>>> {
    (4usize..40, 2usize..9).prop_flat_map(|(parts, most)| {
        let board = proptest::collection::btree_set(0..parts, 0..=most.min(parts));
        proptest::collection::vec(board.prop_map(|set| set.into_iter().collect()), 1..60)
    })
}

/// A stock list of some cards, as text, and the yearly volume of a board.
fn list(names: Vec<String>) -> impl Strategy<Value = (String, Option<u32>)> {
    let row = (0..400u32, 0..3_000_000u32, proptest::option::of(0..60u32), 0..3usize);
    let rows = proptest::collection::vec(row, names.len());
    (rows, proptest::option::of(1..300u32)).prop_map(move |(rows, volume)| {
        let mut text = String::from("part,quantity,unit_price,lead_time_days,state\n");
        for (name, (quantity, price, lead, state)) in names.iter().zip(rows) {
            let lead = lead.map_or_else(String::new, |days| (days / 10).to_string());
            let state = ["active", "last buy", "obsolete"][state];
            let (whole, places) = (price / 1_000_000, price % 1_000_000);
            let _ = writeln!(text, "{name},{quantity},{whole}.{places:06},{lead},{state}");
        }
        (text, volume)
    })
}

#[test]
fn the_fewest_parts_and_the_order_of_stock_lists_agree_with_outside_programs() {
    println!("seed {:#x}", seed());
    let Some(python) = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &["scipy==1.15.3"]) else { return };
    let catalogue = Catalogue::embedded().unwrap();
    let names: Vec<String> = catalogue.parts().step_by(9).map(|card| card.id.clone()).collect();
    let covers = drawn(&boards(), 60);
    let lists = drawn(&list(names), 20);
    let stock: Vec<Value> = lists.iter().map(|(csv, volume)| json!({ "csv": csv, "volume": volume })).collect();
    let asked = json!({ "covers": covers, "stock": stock }).to_string();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/fleet_outside/solve.py");
    let told = python.ask(&script, &[], &asked);

    for (boards, fewest) in covers.iter().zip(told["covers"].as_array().unwrap()) {
        let ours = cover::fewest(boards, cover::NODES);
        assert!(ours.is_fewest(), "searched to the end");
        assert_eq!(ours.parts.len() as u64, fewest.as_u64().unwrap(), "{boards:?}");
    }
    for ((csv, volume), told) in lists.iter().zip(told["stock"].as_array().unwrap()) {
        let rows = read::parse("list", csv.as_bytes(), &Columns::default()).unwrap();
        let stock = Stock::of("list", "", rows, &catalogue).unwrap();
        let mut offers: Vec<(&str, Offer)> =
            stock.cards().map(|card| (card, stock.offer(card, *volume).unwrap())).collect();
        offers.sort_by_key(|(card, offer)| (offer.rank(), *card));
        let order: Vec<&str> = told["order"].as_array().unwrap().iter().map(|part| part.as_str().unwrap()).collect();
        assert_eq!(offers.iter().map(|(card, _)| *card).collect::<Vec<_>>(), order, "volume {volume:?}\n{csv}");
        for (card, offer) in &offers {
            let ours = offer.yearly_cost.unwrap_or(offer.unit_price).to_string();
            // Python keeps the places of the price, we leave zeros out beyond two.
            let theirs = told["costs"][card].as_str().unwrap();
            assert_eq!(ours, plain_places(theirs), "{card}");
        }
    }
}

/// A decimal with at least two places and no further zeros at its end.
fn plain_places(decimal: &str) -> String {
    let (whole, places) = decimal.split_once('.').unwrap_or((decimal, ""));
    format!("{whole}.{:0<2}", places.trim_end_matches('0'))
}

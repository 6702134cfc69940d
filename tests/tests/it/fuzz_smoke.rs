//! The bodies of the fuzz targets (`tests/fuzz`) on seeded bytes: what runs everywhere, without a fuzzer.

use pagewise_part::card::Catalogue;
use pagewise_tests::fuzz::{planner, records, rig};
use pagewise_tests::search::{counterexample, scaled, seed};
use pagewise_tests::seat::Seat;
use proptest::collection::vec;
use proptest::prelude::*;

/// Bytes that a counterexample shows in one line, as a fuzzer's corpus would hold them.
#[derive(Clone)]
struct Input(Vec<u8>);

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

fn holds(name: &str, runs: u32, body: impl Fn(&[u8]) -> Result<(), String>) {
    println!("seed {:#x}", seed());
    let found = counterexample(name, scaled(runs), &vec(any::<u8>(), 0..600).prop_map(Input), |bytes| body(&bytes.0));
    assert!(found.is_none(), "{}", found.unwrap_or_default());
}

#[test]
fn any_plan_keeps_to_its_request_and_ends() {
    holds("planner", 20_000, planner::run);
}

#[test]
fn any_image_reads_as_a_second_reader_reads_it() {
    holds("records", 20_000, records::run);
}

#[test]
fn any_script_of_faults_ends_in_bounded_time_and_loses_nothing_acknowledged() {
    let catalogue = Catalogue::embedded().unwrap();
    let part = |seat: Seat| rig::Part {
        model: seat.card.chip_model(),
        geometry: seat.geometry,
        straps: seat.straps(),
        scl_hz: seat.scl_hz,
        supply_mv: seat.supply_mv,
        writable: seat.writable,
    };
    let parts: Vec<rig::Part> = catalogue.cards().iter().map(|card| part(Seat::new(card, 0, 0))).collect();
    holds("rig", 400, |bytes| rig::run(bytes, &parts));
}

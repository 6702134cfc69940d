//! `pagewise hazards` as a user runs it.

use crate::cli_support::{refused, run};

#[test]
fn the_list_names_every_demonstration() {
    let list = run(&["hazards"]);
    assert_eq!(list.code, 0, "{}", list.err);
    for demonstration in pagewise_judge::hazard::all() {
        assert!(list.out.contains(demonstration.name), "{}", list.out);
    }
    let json = run(&["hazards", "--json"]).json();
    assert_eq!(json["hazards"].as_array().map(Vec::len), Some(pagewise_judge::hazard::all().len()));
}

#[test]
fn w1_a_run_shows_the_loss_and_ends_with_1() {
    let wrap = run(&["hazards", "page-wrap"]);
    assert_eq!(wrap.code, 1, "{}", wrap.err);
    for part in
        ["fn program", "detectors named: page-wrap", "page wrap at 32", "^^", "Safe run on AT24C32E: 0 bytes lost"]
    {
        assert!(wrap.out.contains(part), "{part}: {}", wrap.out);
    }
    assert!(!wrap.out.contains('\x1b'));
}

#[test]
fn all_runs_are_in_one_json_document() {
    let all = run(&["hazards", "--all", "--json"]);
    assert_eq!(all.code, 1, "{}", all.err);
    let json = all.json();
    let runs = json["runs"].as_array().expect("a list of runs");
    assert_eq!(runs.len(), pagewise_judge::hazard::all().len());
    for run in runs {
        assert_eq!(run["naive"]["hazards"][0], run["hazard"]);
        assert!(run["naive"]["bytes_lost"].as_u64() > Some(0));
        assert_eq!(run["safe"]["bytes_lost"], 0);
    }
}

#[test]
fn an_unknown_name_is_refused_with_near_ones() {
    refused(&["hazards", "page-warp"], "near: page-wrap");
    refused(&["hazards", "page-wrap", "nonsense"], "no hazard has this name");
}

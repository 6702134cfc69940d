//! Every demonstration, as `pagewise hazards` runs it: the naive side loses bytes and exactly its detector fires; the safe
//! side loses none, on the same kind of board.

use pagewise_judge::hazard::{self, page_wrap};
use pagewise_simulator::Hazard;

#[test]
fn each_naive_program_loses_bytes_and_its_own_detector_alone_names_it() {
    for demonstration in hazard::all() {
        let naive = demonstration.run().naive;
        assert!(naive.bytes_lost > 0, "{}: {naive:#?}", demonstration.name);
        assert_eq!(naive.hazards, [demonstration.hazard], "{}: {naive:#?}", demonstration.name);
        assert!(naive.picture.iter().any(|row| (0..16).any(|at| row.lost(at))), "{}", demonstration.name);
    }
}

#[test]
fn each_safe_program_loses_nothing_and_no_detector_speaks() {
    for demonstration in hazard::all() {
        let safe = demonstration.run().safe;
        assert_eq!(safe.bytes_lost, 0, "{}: {safe:#?}", demonstration.name);
        assert!(safe.picture.is_empty() && safe.explanation.is_empty(), "{}: {safe:#?}", demonstration.name);
        // A reset or a supply cut from outside happens to the safe program too, and is named; nothing else is.
        let expected: &[Hazard] = if demonstration.from_outside { &[demonstration.hazard] } else { &[] };
        assert_eq!(safe.hazards, expected, "{}: {safe:#?}", demonstration.name);
    }
}

#[test]
fn runs_repeat_exactly() {
    for demonstration in hazard::all() {
        assert_eq!(demonstration.run(), demonstration.run(), "{}", demonstration.name);
    }
}

#[test]
fn every_hazard_has_a_demonstration() {
    let shown = |hazard: &Hazard| hazard::all().iter().any(|demonstration| demonstration.hazard == *hazard);
    let missing: Vec<Hazard> = Hazard::ALL.into_iter().filter(|hazard| !shown(hazard)).collect();
    assert_eq!(missing, []);
}

#[test]
fn w1_page_wrap_bites_the_safe_driver_too_when_its_page_is_doubled() {
    assert_eq!(page_wrap::safe_with_page(32).bytes_lost, 0);
    assert_eq!(page_wrap::safe_with_page(16).bytes_lost, 0);
    let doubled = page_wrap::safe_with_page(64);
    assert!(doubled.bytes_lost > 0, "{doubled:#?}");
    assert_eq!(doubled.hazards, [Hazard::PageWrap]);
}

//! A fleet as JUnit XML: a case a board.

use quick_junit::{NonSuccessKind, Property, Report, TestCase, TestCaseStatus, TestSuite};

use super::{Fleet, said};
use pagewise_judge::fleet::{BoardOutcomes, Outcome};
use pagewise_judge::swap::Agreement;
use pagewise_templates::document::sound as text;

pub(super) fn write(fleet: &Fleet<'_>) -> String {
    let mut report = Report::new("pagewise swap");
    let mut suite = TestSuite::new("boards");
    suite.add_property(Property::new("accept", fleet.accept.worst.word()));
    suite.add_property(Property::new("accept-conditions", fleet.accept.conditions.to_string()));
    for board in fleet.boards {
        let mut case = TestCase::new(text(&board.name), status(fleet, board));
        case.set_classname(text(&board.file));
        case.add_property(Property::new("fitted", text(&board.fitted)));
        if let Some(taken) = board.candidates.iter().find(|it| it.usable(fleet.accept)) {
            case.add_property(Property::new("takes", text(&taken.candidate)));
            case.add_property(Property::new("verdict", taken.verdict.word()));
        }
        suite.add_test_case(case);
    }
    report.add_test_suite(suite);
    // Only writing to a stream can fail, and a text takes everything.
    report.to_string().expect("numbers and texts are always XML")
}

fn status(fleet: &Fleet<'_>, board: &BoardOutcomes) -> TestCaseStatus {
    let failed = |kind, message: String, what: &str| {
        let mut status = TestCaseStatus::non_success(kind);
        status.set_message(text(&message)).set_type(what);
        status
    };
    let disagree: Vec<&str> =
        board.candidates.iter().filter(|it| it.agree == Agreement::Disagree).map(|it| it.candidate.as_str()).collect();
    if !disagree.is_empty() {
        let message = format!("rules and simulation disagree on {}: a bug in Pagewise", disagree.join(", "));
        return failed(NonSuccessKind::Error, message, "disagreement");
    }
    if board.candidates.iter().any(|it| it.usable(fleet.accept)) {
        return TestCaseStatus::success();
    }
    match board.candidates.first() {
        None => failed(NonSuccessKind::Failure, "there is no candidate".to_owned(), "none"),
        Some(best) => failed(NonSuccessKind::Failure, against(fleet, best), best.verdict.word()),
    }
}

/// What stands against the best candidate.
fn against(fleet: &Fleet<'_>, best: &Outcome) -> String {
    let needs = best.needs.iter().map(said);
    let granted = best.provided_that.iter().map(|it| format!("provided that {it}"));
    let all: Vec<String> = needs.chain(granted).collect();
    format!("best is {}, {}: {}; accepted is {}", best.candidate, best.verdict, all.join("; "), fleet.accept)
}

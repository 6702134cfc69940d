//! The report as JUnit XML: a suite per board, a case per candidate.

use std::fmt::Write;

use quick_junit::{NonSuccessKind, Property, TestCase, TestCaseStatus, TestSuite};

use super::view::{BoardView, CandidateView, Overview};
use pagewise_judge::swap::Accept;
use pagewise_templates::document::sound as text;

pub(super) fn write(whole: &Overview, accept: Accept) -> String {
    let mut report = quick_junit::Report::new("pagewise swap");
    for board in &whole.boards {
        report.add_test_suite(suite(board, accept));
    }
    // Only writing to a stream can fail, and a text takes everything.
    report.to_string().expect("numbers and texts are always XML")
}

fn suite(board: &BoardView, accept: Accept) -> TestSuite {
    let mut suite = TestSuite::new(text(&board.name));
    suite.add_property(Property::new("file", text(&board.file)));
    suite.add_property(Property::new("fitted", text(&board.fitted)));
    suite.add_property(Property::new("accept", accept.worst.word()));
    suite.add_property(Property::new("accept-conditions", accept.conditions.to_string()));
    if let Some(today) = &board.today {
        suite.add_property(Property::new("today", text(&today.sentence)));
        let said = today.findings.iter().map(|finding| {
            format!("today {}: {}\n  do: {}\n", finding.rule, text(&finding.compared), text(&finding.remedy))
        });
        suite.set_system_out(said.collect::<String>());
    }
    for candidate in &board.candidates {
        let name = format!("{} to {}", text(&board.fitted), text(&candidate.part));
        let mut case = TestCase::new(name, status(candidate, accept));
        case.set_classname(text(&board.name));
        case.add_property(Property::new("verdict", candidate.verdict.word()));
        case.set_system_out(body(candidate));
        suite.add_test_case(case);
    }
    suite
}

fn status(candidate: &CandidateView, accept: Accept) -> TestCaseStatus {
    let failed = |kind, message: String, what: &str| {
        let mut status = TestCaseStatus::non_success(kind);
        status.set_message(text(&message)).set_type(what).set_description(body(candidate));
        status
    };
    if candidate.disagree {
        let message = format!(
            "rules and simulation disagree ({} and {}): a bug in Pagewise",
            candidate.verdict, candidate.simulated
        );
        return failed(NonSuccessKind::Error, message, "disagreement");
    }
    if !candidate.usable {
        let message = format!("{}; accepted is {accept}", candidate.headline);
        return failed(NonSuccessKind::Failure, message, candidate.verdict.word());
    }
    TestCaseStatus::success()
}

/// Verdict, findings and runs as lines.
fn body(candidate: &CandidateView) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", text(&candidate.headline));
    for finding in &candidate.findings {
        let hazard = if finding.hazard.is_empty() { String::new() } else { format!(" [{}]", finding.hazard) };
        let _ = writeln!(out, "{} {}: {}{hazard}", finding.word, finding.rule, text(&finding.compared));
        let _ = writeln!(out, "  do: {}", text(&finding.remedy));
        let _ = writeln!(out, "  {}", text(&finding.rests_on));
    }
    for change in &candidate.then {
        let _ = writeln!(out, "then {}", text(&change.to_string()));
    }
    for run in &candidate.runs {
        let named = if run.hazards.is_empty() { String::new() } else { format!(" [{}]", run.hazards.join(", ")) };
        let loss = if run.loss.is_empty() { String::new() } else { format!(": {}", text(&run.loss)) };
        let outcome = format!("{}{named}{loss}", run.outcome);
        let _ = writeln!(out, "simulated, {}: {outcome} ({})", run.what, run.work);
        if !run.transaction.is_empty() {
            let _ = writeln!(out, "  {}", run.transaction);
        }
    }
    if !candidate.shipped.is_empty() {
        let _ = writeln!(out, "units already shipped, {}", text(&candidate.shipped));
    }
    if candidate.rules_alone {
        let _ = writeln!(out, "rules alone decided: the run was spared");
    }
    out
}

//! JUnit XML, read by an independent reader (`junitparser` from PyPI) and by Python's own XML parser.

use std::path::Path;

use pagewise_base::paint::plain;
use pagewise_judge::fleet::BoardAnswer;
use pagewise_judge::swap::{Accept, Agreement, Verdict};
use pagewise_report::Report;
use pagewise_tests::python::Python;
use pagewise_tests::{hostile, reports};
use serde_json::Value;

fn report(answers: &[BoardAnswer], accept: Accept) -> String {
    Report { answers, catalogue: reports::catalogue(), accept, full: false, currency: "" }.junit()
}

/// What the reader saw of each document.
fn read(documents: &[String]) -> Option<Vec<Value>> {
    let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &["junitparser==5.0.3"])?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/report/junit.py");
    let seen = python.ask(&script, &[], &serde_json::to_string(documents).unwrap());
    Some(seen.as_array().unwrap().clone())
}

#[test]
fn a_case_fails_when_it_is_not_accepted_and_a_condition_counts_as_failed_unless_it_is_granted() {
    let answers = reports::examples();
    let accepts = Verdict::ALL.map(|worst| [Accept::from(worst), Accept::from(worst).granting()]).concat();
    let documents: Vec<String> = accepts.iter().map(|accept| report(answers, *accept)).collect();
    let Some(seen) = read(&documents) else { return };
    for (accept, seen) in accepts.into_iter().zip(&seen) {
        let mut failures = 0;
        let suites = seen["suites"].as_array().unwrap();
        assert_eq!(suites.len(), answers.len());
        for (answer, suite) in answers.iter().zip(suites) {
            assert_eq!(suite["name"], answer.board.name);
            assert_eq!(suite["properties"]["file"], answer.board.file);
            assert_eq!(suite["properties"]["accept-conditions"], accept.conditions.to_string());
            let cases = suite["cases"].as_array().unwrap();
            assert_eq!(cases.len(), answer.judgements.len());
            for (judgement, case) in answer.judgements.iter().zip(cases) {
                let result = case["result"].as_array().unwrap();
                let held_to = if accept.conditions { judgement.verdict } else { judgement.worst_case };
                assert_eq!(!result.is_empty(), held_to > accept.worst, "{case}");
                failures += result.len();
                let told = result.first().map_or(&case["out"], |result| &result["text"]).as_str().unwrap();
                let worst = judgement.findings.iter().find(|finding| finding.verdict == judgement.verdict);
                assert!(worst.is_none_or(|finding| told.contains(&plain(&finding.compared))), "{told}");
                if let Some(result) = result.first() {
                    assert_eq!(
                        (&result["kind"], &result["type"]),
                        (&"Failure".into(), &judgement.verdict.word().into())
                    );
                    assert!(result["message"].as_str().unwrap().starts_with(judgement.verdict.word()));
                }
            }
        }
        let judgements: usize = answers.iter().map(|answer| answer.judgements.len()).sum();
        assert_eq!(seen["counts"], serde_json::json!([judgements, failures, 0]));
        assert_eq!(seen["said"], seen["counts"]);
    }
    let failures = |at: usize| seen[at]["counts"][1].as_u64().unwrap();
    assert!(failures(0) > failures(1) && failures(1) > 0, "some drop-in has a condition, some verdict is worse");
    assert_eq!((failures(6), failures(7)), (0, 0), "nothing is worse than reject");
}

#[test]
fn a_disagreement_is_an_error_whatever_is_accepted() {
    let mut answers = reports::examples()[..1].to_vec();
    answers[0].judgements[0].agree = Agreement::Disagree;
    let Some(seen) = read(&[report(&answers, Verdict::Reject.into())]) else { return };
    let suite = &seen[0]["suites"][0];
    assert_eq!(suite["counts"], serde_json::json!([answers[0].judgements.len(), 0, 1]));
    assert_eq!(suite["cases"][0]["result"][0]["kind"], "Error");
    assert_eq!(suite["cases"][0]["result"][0]["type"], "disagreement");
}

#[test]
fn texts_of_users_stay_texts() {
    const SEED: u64 = 0x5EED;
    let texts = hostile::texts(120, SEED);
    let example = |name: &str, region: &str| reports::example("valve-driver.toml", name, name, region);
    let mut documents = vec![report(&[example("harmless", "harmless")], Verdict::DropIn.into())];
    documents.extend(texts.iter().map(|text| report(&[example(text, text)], Verdict::DropIn.into())));
    let Some(seen) = read(&documents) else { return };
    for (text, found) in texts.iter().zip(&seen[1..]) {
        assert_eq!(found["shape"], seen[0]["shape"], "seed {SEED}: {text:?}");
        let expected = plain(text).replace(['\u{FFFE}', '\u{FFFF}'], "?");
        assert_eq!(found["suites"][0]["name"], expected.as_str(), "seed {SEED}");
        assert_eq!(found["suites"][0]["properties"]["file"], expected.as_str(), "seed {SEED}");
        let failure = found["suites"][0]["cases"][1]["result"][0]["text"].as_str().unwrap();
        assert!(failure.contains(&format!("writing `{expected}` sends 64 bytes")), "seed {SEED}: {failure}");
    }
}

//! Findings and runs in the words of every form, of a candidate and of the fitted part.

use serde::Serialize;

use pagewise_base::words::{counted, duration, moment};
use pagewise_judge::swap::{Agreement, Finding, Judgement, Run, Setting, Today, Verdict};

/// One finding.
#[derive(Debug, Clone, Serialize)]
pub struct FindingView {
    /// Identifier of the rule.
    pub rule: &'static str,
    /// `note`, a verdict, or `condition` where it rests on an assumption.
    pub word: String,
    /// What it asks for.
    pub verdict: Verdict,
    /// It rests on an assumption.
    pub assumed: bool,
    /// What was compared.
    pub compared: String,
    /// What to do.
    pub remedy: String,
    /// Name of the hazard; empty for none.
    pub hazard: &'static str,
    /// `published`, `derived`, `assumed`, `generic`.
    pub basis: &'static str,
    /// The document, or why the value stands in.
    pub source: String,
    /// Both in words: `assumed, not stated in the sheet read: ...`.
    pub rests_on: String,
}

/// One run of the firmware.
#[derive(Debug, Clone, Serialize)]
pub struct RunView {
    /// Which.
    pub what: &'static str,
    /// Everything stored and read back.
    pub serves: bool,
    /// Nothing is promised there, so there was no run.
    pub spared: bool,
    /// `serves`, `fails`, or `not run` where nothing is promised.
    pub outcome: &'static str,
    /// Names of the hazards.
    pub hazards: Vec<&'static str>,
    /// What went wrong first; empty for nothing.
    pub loss: String,
    /// The first failing transaction as text; empty for none.
    pub transaction: String,
    /// `17 page writes, 1088 bytes, 141.3 ms`.
    pub work: String,
}

/// What stands against a board with its fitted part.
#[derive(Debug, Clone, Serialize)]
pub struct TodayView {
    /// In one sentence.
    pub sentence: String,
    /// The findings, worst first.
    pub findings: Vec<FindingView>,
    /// What would mend it.
    pub then: Vec<Setting>,
    /// The firmware as it is on the fitted part.
    pub run: RunView,
    /// Rules and simulation disagree.
    pub disagree: bool,
}

impl TodayView {
    pub(super) fn of(today: &Today) -> Option<Self> {
        let disagree = today.agree == Agreement::Disagree;
        if today.findings.is_empty() && !disagree {
            return None;
        }
        let mut rules: Vec<&str> = today.findings.iter().map(|finding| finding.rule).collect();
        rules.dedup();
        let sentence = format!(
            "The board file and the fitted part disagree today ({}); that is the board's own and not held against any \
             candidate.",
            rules.join(", ")
        );
        let findings = today.findings.iter().map(|it| FindingView { word: "today".to_owned(), ..FindingView::of(it) });
        let run = run("fitted part", &today.run);
        Some(Self { sentence, findings: findings.collect(), then: today.then.clone(), run, disagree })
    }
}

impl FindingView {
    pub(super) fn of(finding: &Finding) -> Self {
        let word = match (&finding.proviso, finding.verdict) {
            _ if finding.with_fitted => "today".to_owned(),
            (Some(_), _) => "condition".to_owned(),
            (None, Verdict::DropIn) => "note".to_owned(),
            (None, verdict) => verdict.to_string(),
        };
        let (basis, source) = finding.source.parts();
        Self {
            rule: finding.rule,
            word,
            verdict: finding.verdict,
            assumed: finding.proviso.is_some(),
            compared: match (finding.with_fitted, &finding.proviso) {
                (true, _) => format!("{} (also with the fitted part)", finding.compared),
                (false, Some(_)) => format!("{} (else {})", finding.compared, finding.verdict),
                (false, None) => finding.compared.clone(),
            },
            remedy: finding.remedy.clone(),
            hazard: finding.hazard.map_or("", |hazard| hazard.name()),
            basis,
            source: source.to_owned(),
            rests_on: finding.source.to_string(),
        }
    }
}

pub(super) fn runs(judgement: &Judgement) -> Vec<RunView> {
    let evidence = &judgement.evidence;
    let changed = if evidence.verdict == Verdict::Rework { "with straps changed" } else { "with settings changed" };
    let mut runs = vec![run("fitted part", &evidence.old)];
    runs.extend(evidence.mended.as_ref().map(|it| run("fitted part, today's faults mended", it)));
    let as_it_is = if evidence.mended.is_some() { "candidate, today's faults mended" } else { "candidate as it is" };
    runs.push(run(as_it_is, &evidence.new));
    runs.extend(evidence.changed.as_ref().map(|it| run(changed, it)));
    runs.extend(evidence.worst_case.as_ref().map(|it| run("assumptions at worst", it)));
    runs.extend(judgement.recorded.as_ref().map(|it| RunView {
        what: "recorded program",
        serves: it.same,
        spared: false,
        outcome: if it.same { "serves" } else { "fails" },
        hazards: it.hazards.clone(),
        loss: it.differs.clone(),
        transaction: String::new(),
        work: counted(it.transfers, "transfer"),
    }));
    runs
}

pub(super) fn run(what: &'static str, run: &Run) -> RunView {
    let told = run.told();
    RunView {
        what,
        serves: run.serves,
        spared: run.spared,
        outcome: run.outcome(),
        hazards: told.hazards.iter().map(|hazard| hazard.name()).collect(),
        loss: told
            .first_loss
            .unwrap_or_else(|| if run.serves { String::new() } else { "something was reported".to_owned() }),
        transaction: told.transaction.as_deref().map_or_else(String::new, timed),
        work: format!(
            "{}, {}, {}",
            counted(told.writes as usize, "page write"),
            counted(told.bytes as usize, "byte"),
            duration(told.time_us as f64)
        ),
    }
}

/// A transaction as the trace has it, its time in a unit that reads well.
fn timed(transaction: &str) -> String {
    let ns = |us: &str| us.trim().replace('.', "").parse().ok();
    let parts = transaction.split_once(" us  ").and_then(|(us, rest)| Some((ns(us)?, rest)));
    parts.map_or_else(|| transaction.to_owned(), |(ns, rest)| format!("{}  {rest}", moment(ns)))
}

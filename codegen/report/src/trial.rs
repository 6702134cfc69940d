//! Results of a trial: a real program on the fitted part and on each candidate. What stands here is what the terminal, JSON,
//! JUnit XML and the HTML page say.

use quick_junit::{NonSuccessKind, Property, TestCase, TestCaseStatus, TestSuite};
use schemars::JsonSchema;
use serde::Serialize;

use pagewise_base::words::duration;
use pagewise_templates::document::sound as plain;
use pagewise_templates::render;

/// Everything that a trial found.
#[derive(Debug, Clone, JsonSchema, Serialize)]
pub struct Trial {
    /// Name of the board.
    pub board: String,
    /// Its file.
    pub file: String,
    /// The fitted part.
    pub fitted: String,
    /// The program and its arguments.
    pub program: String,
    /// One run of the program on one part.
    pub runs: Vec<Run>,
    /// What cuts of the supply did, a line per part.
    pub cuts: Vec<Cuts>,
    /// Losses that the baseline does not have.
    pub new_losses: usize,
    /// Losses that it has.
    pub known_losses: usize,
    /// Losses of the baseline that are gone.
    pub gone: Vec<String>,
}

/// One run of the program on one part.
#[derive(Debug, Clone, JsonSchema, Serialize)]
pub struct Run {
    /// The part.
    pub part: String,
    /// It is the fitted one: what the others are compared with.
    pub fitted: bool,
    /// What was set besides: straps, adapter.
    pub setting: String,
    /// Seed of everything that was drawn.
    pub seed: u64,
    /// Exit code of the program, or 128 plus the signal that ended it; absent when it did not end in time.
    pub exit: Option<u8>,
    /// What differs from the run on the fitted part.
    pub losses: Vec<Loss>,
    /// Hazards seen, by name.
    pub hazards: Vec<String>,
    /// Transfers on the bus.
    pub transfers: u64,
    /// Time of the bus in microseconds.
    pub took_us: u64,
    /// What the user should know of how the program used the device.
    pub told: Vec<String>,
    /// The command that repeats exactly this run.
    pub repeat: String,
}

/// What differs from the run on the fitted part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Loss {
    /// `exit`, `time`, `memory`, `reads` or `hazard`.
    pub kind: &'static str,
    /// What differs, with the bytes.
    pub text: String,
    /// The hazard that was named on the way, if one was.
    pub hazard: String,
    /// Number of the transfer where that was, from 1; 0 for none.
    pub transfer: u64,
    /// That transfer.
    pub on_the_bus: String,
    /// The baseline has it.
    pub known: bool,
}

/// What cuts of the supply did to the program on one part.
#[derive(Debug, Clone, JsonSchema, Serialize)]
pub struct Cuts {
    /// The part.
    pub part: String,
    /// Moments at which the supply could have been lost.
    pub moments: usize,
    /// Moments that were looked at; fewer than all were drawn.
    pub looked_at: usize,
    /// Different states of the part after those: the program was started again on each.
    pub states: usize,
    /// States from which the program did not come back.
    pub lost: usize,
    /// The earliest of them.
    pub first: Option<FirstCut>,
}

/// The earliest cut from which the program does not come back.
#[derive(Debug, Clone, JsonSchema, Serialize)]
pub struct FirstCut {
    /// When, in nanoseconds since the bus was made.
    pub at_ns: u64,
    /// What the torn write cycle left.
    pub torn: &'static str,
    /// What was wrong afterwards.
    pub text: String,
    /// The transfer that was under way, or over last.
    pub on_the_bus: String,
    /// The command that repeats exactly this cut.
    pub repeat: String,
    /// The baseline has it.
    pub known: bool,
}

impl Trial {
    /// One sentence about all.
    #[must_use]
    pub fn sentence(&self) -> String {
        let parts: std::collections::BTreeSet<&str> =
            self.runs.iter().filter(|run| !run.fitted).map(|run| run.part.as_str()).collect();
        let lost = parts.iter().filter(|part| self.runs.iter().any(|run| run.part == **part && !run.losses.is_empty()));
        let cut = self.cuts.iter().filter(|cuts| cuts.lost > 0).count();
        let mut sentence = match (parts.len(), lost.count()) {
            (0, _) => format!("ran on {} alone", self.fitted),
            (all, 0) => format!("does on {all} of {all} candidates what it does on {}", self.fitted),
            (all, lost) => format!("does on {} of {all} candidates what it does on {}", all - lost, self.fitted),
        };
        if !self.cuts.is_empty() {
            sentence += &match cut {
                0 => ", and comes back after every cut of the supply that was tried".to_owned(),
                _ => format!(
                    ", and does not come back after some cut of the supply on {cut} of {} parts",
                    self.cuts.len()
                ),
            };
        }
        sentence
    }

    /// The trial as JUnit XML: a suite per part, a case per run, and one for the cuts. Losses that the baseline has do not
    /// fail.
    ///
    /// # Panics
    /// Never: a text takes every report.
    #[must_use]
    pub fn junit(&self) -> String {
        let mut report = quick_junit::Report::new("pagewise trial");
        let mut suites: Vec<(&str, TestSuite)> = Vec::new();
        let mut suite = |part: &str, case: TestCase| {
            let at = suites.iter().position(|(name, _)| *name == part).unwrap_or(suites.len());
            if at == suites.len() {
                let name: &str =
                    self.runs.iter().map(|run| run.part.as_str()).find(|name| *name == part).unwrap_or_default();
                let mut suite = TestSuite::new(plain(part));
                suite.add_property(Property::new("board", plain(&self.board)));
                suite.add_property(Property::new("fitted", plain(&self.fitted)));
                suites.push((name, suite));
            }
            suites[at].1.add_test_case(case);
        };
        for run in &self.runs {
            let new: Vec<&Loss> = run.losses.iter().filter(|loss| !loss.known).collect();
            let status = match new.as_slice() {
                [] => TestCaseStatus::success(),
                [first, ..] => failure(first.kind, &first.text, &run.body()),
            };
            let mut case = TestCase::new(plain(&format!("{}, seed {}", run.setting, run.seed)), status);
            case.set_classname(plain(&run.part));
            case.set_system_out(plain(&run.body()));
            suite(&run.part, case);
        }
        for cuts in &self.cuts {
            let status = match &cuts.first {
                Some(first) if !first.known => failure("cut", &first.text, &first.repeat),
                _ => TestCaseStatus::success(),
            };
            let mut case = TestCase::new("cuts of the supply", status);
            case.set_classname(plain(&cuts.part));
            suite(&cuts.part, case);
        }
        report.add_test_suites(suites.into_iter().map(|(_, suite)| suite));
        report.to_string().expect("numbers and texts are always XML")
    }

    /// The trial as one HTML page that needs nothing else.
    #[must_use]
    pub fn page(&self) -> String {
        #[derive(Serialize)]
        struct Page<'t> {
            sentence: String,
            version: &'static str,
            #[serde(flatten)]
            trial: &'t Trial,
        }
        let page = Page { sentence: self.sentence(), version: env!("CARGO_PKG_VERSION"), trial: self };
        render("trial.html.tera", &page)
    }
}

fn failure(kind: &str, message: &str, body: &str) -> TestCaseStatus {
    let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
    status.set_message(plain(message)).set_type(kind).set_description(plain(body));
    status
}

impl Run {
    fn body(&self) -> String {
        let mut lines: Vec<String> = self
            .losses
            .iter()
            .map(|loss| {
                let transfer = if loss.transfer > 0 {
                    format!(" (transfer {}: {})", loss.transfer, loss.on_the_bus)
                } else {
                    String::new()
                };
                let hazard = if loss.hazard.is_empty() { String::new() } else { format!(" [{}]", loss.hazard) };
                format!("{}: {}{hazard}{transfer}", loss.kind, loss.text)
            })
            .collect();
        lines.push(format!("{} transfers, {} on the bus", self.transfers, duration(self.took_us as f64)));
        lines.push(self.repeat.clone());
        lines.join("\n")
    }
}

//! `measure --for BOARD --to PART`: what a verdict takes for granted, and what of it samples settle.

use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use crate::command::find;
use crate::output::{Answer, Exit, Reader, Tone, WIDTH, paint, plain, wrapped_to};
use pagewise_base::fault::Faults;
use pagewise_judge::board::{self, Board};
use pagewise_judge::swap::Fitted;
use pagewise_measure::plan::{self, Settled, Step};
use pagewise_part::card::sample::{self as samples, Sample, SampleFile};
use pagewise_part::card::{Card, Catalogue};

/// A board, its part and the candidate.
pub(super) struct Plan {
    board: Board,
    fitted: Card,
    candidate: Card,
    steps: Vec<Step>,
    headline: String,
}

/// What a measurement made of the verdict.
#[derive(JsonSchema, Serialize)]
pub(super) struct Verdict {
    board: String,
    candidate: String,
    before: String,
    after: String,
    open: Vec<Step>,
}

#[derive(JsonSchema, Serialize)]
pub(super) struct Paper<'p> {
    board: &'p str,
    candidate: &'p str,
    headline: &'p str,
    steps: &'p [Step],
}

impl Plan {
    /// The plan that was asked for.
    ///
    /// # Errors
    /// Everything that is wrong with the board file, and parts that have no card.
    pub(super) fn of(board: Option<&Path>, to: Option<&str>, catalogue: &Catalogue) -> Result<Option<Self>, Faults> {
        let (Some(board), Some(to)) = (board, to) else { return Ok(None) };
        let board = board::read(board)?;
        let fitted = find(catalogue, &board.fitted)?.clone();
        let candidate = find(catalogue, to)?.clone();
        let judge = Fitted::new(&board, &fitted);
        let steps = plan::plan(&judge.conditions(&candidate));
        let headline = judge.judge(&candidate).headline();
        drop(judge);
        Ok(Some(Self { board, fitted, candidate, steps, headline }))
    }

    /// A check list for the first samples.
    pub(super) fn on_paper(&self, reader: Reader) -> Answer {
        let (board, candidate) = (&self.board.name, &self.candidate.id);
        let body = Paper { board, candidate, headline: &self.headline, steps: &self.steps };
        Answer::new(reader, "measure", Exit::Usable, &body, || {
            let mut out = String::new();
            let mut say =
                |first: &str, text: &str, next: &str| out += &(wrapped_to(WIDTH, &plain(text), first, next) + "\n");
            say("", &format!("{candidate} on {board}: {}", self.headline), "  ");
            if self.steps.is_empty() {
                say("", "Nothing is taken for granted that a sample could settle.", "");
            }
            self.steps.iter().for_each(|step| tell(step, &mut say));
            if self.steps.iter().any(|step| step.settled == Settled::ByMeasuring) {
                let text = format!(
                    "measure --part {candidate} --for BOARD --to {candidate} --bus DEVICE --may-write --scratch 0:256 \
                     --saved FOLDER, at the supply and straps of the board, on samples of more than one lot"
                );
                say(&format!("{} ", paint(Tone::Strong, "run")), &format!("pagewise {text}"), "    ");
            }
            out
        })
    }

    /// The verdict with what a sample shows.
    pub(super) fn settled(&self, sample: &Sample) -> Verdict {
        // Told as simulated in every line; here it counts as the real one would.
        let sample = Sample { name: "this sample".into(), simulated: false, ..sample.clone() };
        let file = SampleFile { measured_of: self.candidate.id.clone(), sample: vec![sample] };
        let judge = Fitted::new(&self.board, &self.fitted);
        let (after, open) = match samples::onto(&self.candidate, &file, "this sample", "") {
            Ok(measured) => (judge.judge(&measured).headline(), plan::plan(&judge.conditions(&measured))),
            Err(_) => (format!("none: the sample is not a {}", self.candidate.id), self.steps.clone()),
        };
        let (board, candidate) = (self.board.name.clone(), self.candidate.id.clone());
        Verdict { board, candidate, before: self.headline.clone(), after, open }
    }
}

impl Verdict {
    /// Tells it.
    pub(super) fn say(&self, say: &mut dyn FnMut(&str, &str, &str)) {
        say("", &format!("{} on {}, before: {}", self.candidate, self.board, self.before), "  ");
        say("", &format!("{} on {}, with this sample: {}", self.candidate, self.board, self.after), "  ");
        self.open.iter().for_each(|step| tell(step, say));
    }
}

fn tell(step: &Step, say: &mut dyn FnMut(&str, &str, &str)) {
    let word = match step.settled {
        Settled::ByMeasuring => "measure   ",
        Settled::ByHand => "by hand   ",
        Settled::BySheet => "ask maker ",
    };
    let first = format!("  [ ] {}", paint(Tone::Strong, word));
    say(&first, &format!("{}: {}", step.condition, step.how), "                ");
}

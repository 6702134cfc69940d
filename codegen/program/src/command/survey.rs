//! `pagewise survey`: how often a drop-in stands without a condition.

use std::fmt::Write;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use crate::output::{Answer, Exit, Shape, answers, plain, wrapped};
use pagewise_base::fault::Faults;
use pagewise_base::words::counted;
use pagewise_judge::fleet::survey::{self, Count, Open, Survey};

/// Count, over an invented fleet and every part, how many drop-ins rest on conditions, and what settles them.
#[derive(Debug, Args)]
#[command(name = "survey")]
pub struct SurveyCommand {
    /// How many boards are invented.
    #[arg(long, value_name = "COUNT", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub boards: u32,
    /// Seed: the same one gives the same boards, as long as the cards stay the same.
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    seed: u64,
    #[serde(flatten)]
    survey: &'a Survey,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

impl SurveyCommand {
    /// Runs the command.
    ///
    /// # Errors
    /// Faults of the user's cards.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let survey = survey::survey(&catalogue, self.boards as usize, self.seed);
        let body = Body { seed: self.seed, survey: &survey };
        Ok(Answer::new(options.reader(), "survey", Exit::Usable, &body, || {
            let boards = counted(survey.boards, "invented board");
            let mut out = format!("{boards} from seed {}, every part as candidate\n", self.seed);
            part(&mut out, "Candidates by the names of their parts", &survey.by_name);
            part(&mut out, "Candidates by order codes in the board's package", &survey.by_order_code);
            left_open(&mut out, &survey.catalogue);
            out
        }))
    }
}

fn part(out: &mut String, what: &str, count: &Count) {
    let text = format!(
        "{what}: {} of {} are drop-ins. {} of them ({:.0} %) rest on no condition; the median is {}. Documents state all \
         that a drop-in needs for {}: {} of those ({:.0} %) rest on no condition; the median is {}.",
        count.drop_ins,
        counted(count.judgements, "judgement"),
        count.unconditional,
        count.percent(),
        counted(count.median_conditions, "condition"),
        count.published,
        count.published_unconditional,
        count.published_percent(),
        counted(count.published_median, "condition")
    );
    let _ = writeln!(out, "\n{}", wrapped(&text, "", ""));
    for condition in &count.conditions {
        let text = format!("{}: {}, such as: {}", condition.rule, plain(&condition.action), plain(&condition.example));
        let _ = writeln!(out, "{}", wrapped(&text, &format!("  {:>6}  ", condition.drop_ins), "          "));
    }
}

fn left_open(out: &mut String, open: &Open) {
    let text = format!(
        "The catalogue: documents state all that a drop-in needs for {} of {}. What was not read, and of how many:",
        open.complete,
        counted(open.parts, "part")
    );
    let _ = writeln!(out, "\n{}", wrapped(&text, "", ""));
    for (fact, parts) in &open.lacking {
        let _ = writeln!(out, "  {parts:>6}  {fact}");
    }
}

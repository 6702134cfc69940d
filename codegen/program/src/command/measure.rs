//! `pagewise measure`: what the part on a bus is, and how far it can be trusted.

mod by_hand;
mod file;
mod for_board;
mod text;

use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use schemars::JsonSchema;
use serde::Serialize;

use super::Options;
use super::socket::SocketOptions;
use super::values;
use crate::ending;
use crate::output::{Answer, Exit, Shape, answers};
use by_hand::{Asked, AtBench};
use for_board::Verdict;
use pagewise_base::fault::{Fault, Faults};
use pagewise_line::LineBus;
use pagewise_measure::compare::{self, Fit, Line};
use pagewise_measure::facts::Facts;
use pagewise_measure::place::Scratch;
use pagewise_measure::probe::{Limits, OverHal, Probe, Trouble};
use pagewise_measure::protect::Hand;
use pagewise_measure::sample::{self, Conditions};
use pagewise_measure::{Leave, read_only, saved, with_writes};
use pagewise_part::card::sample::Sample;
use pagewise_part::card::{Card, UpperBits};

/// Somebody wants to stop.
static STOP: AtomicBool = AtomicBool::new(false);

/// Find out what the part on a bus is: by reading only, or with leave to write into a scratch range.
///
/// Without --may-write nothing is written, and no message ends behind a word address. With it, the whole array is first
/// copied into the folder that --saved names, and put back at the end; a run that was killed is put back with --restore.
/// What the sheet promises, no sample can: the longest write cycle, endurance, retention, other temperatures, the next lot.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit code: 0 measured and no different from the card that was named, 1 it is different or does \
                        not answer, 2 the input was bad."
)]
pub struct Measure {
    /// Device address of the part (default: the lowest from 0x50 to 0x57 that answers).
    #[arg(long, value_name = "ADDRESS", value_parser = values::device_address)]
    pub address: Option<u8>,
    /// Allow writes into the scratch range. On a part of another kind than you think the first write can land elsewhere;
    /// what may be there is copied before. Each measurement takes some hundred write cycles, and says how many it took.
    /// Not for parts that demand zeros in unused bits of the word address: they promise nothing for other bits.
    #[arg(long, requires_all = ["scratch", "saved"])]
    pub may_write: bool,
    /// Bytes that may be written: a power of two, aligned to itself, at least twice the page.
    #[arg(long, value_name = "OFFSET:LENGTH", value_parser = values::scratch, requires = "may_write")]
    pub scratch: Option<Scratch>,
    /// New folder for the copy of the array.
    #[arg(long, value_name = "FOLDER", requires = "may_write")]
    pub saved: Option<PathBuf>,
    /// Writes whose time is taken, of a byte and of a page each.
    #[arg(long, value_name = "COUNT", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub writes: u32,
    /// Ask for the WP pin to be moved by hand, and measure what it protects. On a part whose answers tell, this writes
    /// bytes that are there already over the whole array.
    #[arg(long, requires = "may_write")]
    pub wp_by_hand: bool,
    /// Put a part back from the folder of a run that was killed, and measure nothing.
    #[arg(long, value_name = "FOLDER", conflicts_with = "may_write")]
    pub restore: Option<PathBuf>,
    /// Write what was measured to this file; a file of the same part gets one sample more. `--cards` takes its folder:
    /// what the sheet does not state is then as measured, and never as promised.
    #[arg(short, long, value_name = "FILE", requires = "part")]
    pub output: Option<PathBuf>,
    /// What this sample is called in that file (default: sample-N).
    #[arg(long, value_name = "NAME", requires = "output")]
    pub sample: Option<String>,
    /// Board file: say what the verdict of --to on it takes for granted, what of that this measurement settles, and how.
    /// Without a bus: a check list on paper.
    #[arg(long = "for", value_name = "BOARD", requires = "to")]
    pub board: Option<PathBuf>,
    /// Candidate that is judged for that board.
    #[arg(long, value_name = "PART", requires = "board")]
    pub to: Option<String>,
    /// What the part is marked as, and where it sits.
    #[command(flatten)]
    pub socket: SocketOptions,
}

#[derive(JsonSchema, Serialize)]
struct Body<'b> {
    part: Option<&'b str>,
    bus: &'b str,
    simulated: bool,
    /// What the user says of the supply, in millivolts.
    supply_mv: Option<u32>,
    /// What the user says of the SCL rate.
    scl_khz: Option<u32>,
    facts: Option<&'b Facts>,
    compared: Option<&'b [Line]>,
    fitting: &'b [String],
    restored_bytes: Option<u32>,
    saved: Option<String>,
    trouble: Option<String>,
    file: Option<String>,
    verdict: Option<&'b Verdict>,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>, answers::<for_board::Paper<'static>>];

impl Measure {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with cards and bus.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let catalogue = options.catalogue()?;
        let plan = for_board::Plan::of(self.board.as_deref(), self.to.as_deref(), &catalogue)?;
        if let Some(plan) = plan.as_ref().filter(|_| self.socket.bus.is_empty() && !self.socket.simulate) {
            return Ok(plan.on_paper(options.reader()));
        }
        let (card, bus) = self.socket.open_unknown(&catalogue)?;
        if let Some(card) =
            card.as_ref().filter(|card| self.may_write && card.upper_address_bits.value == UpperBits::Zero)
        {
            let reason = format!(
                "{} demands zeros in unused bits of the word address and promises nothing for others; finding out its size \
                 by writing takes others",
                card.id
            );
            return Err(Fault::of_file("--may-write", reason, "leave it out: reading does no harm").into());
        }
        let clock = bus.delay();
        let bench = match &bus {
            LineBus::Simulated(bench) => Some(AtBench::new(bench)),
            LineBus::Linux(_) => None,
        };
        let mut hand: Box<dyn Hand> = match bench {
            Some(bench) => Box::new(bench),
            None => Box::new(Asked),
        };
        let mut wires = OverHal { bus, clock, other_is_nack: self.socket.other_is_nack };
        ending::ask_first(|| STOP.swap(true, Ordering::Relaxed));
        let bar = spinner();
        let said = |step: &str| bar.set_message(step.to_owned());
        let limits = Limits { transfer_bytes: self.socket.max_transfer as usize, ..Limits::default() };
        let done = self.work(&mut Probe::new(&mut wires, limits, &STOP, &said), &mut *hand);
        bar.finish_and_clear();
        if let Err(Trouble::Copy(text)) = &done {
            return Err(Fault::of_file("measure", text.clone(), "").into());
        }
        let facts = done.as_ref().ok().and_then(Done::facts);
        let compared = facts.zip(card.as_ref()).map(|(facts, card)| compare::compare(card, facts));
        let fitting: Vec<String> = facts.map_or_else(Vec::new, |facts| {
            compare::fitting(&catalogue, facts).into_iter().map(|card| card.id.clone()).collect()
        });
        let sample = facts.zip(card.as_ref()).map(|(facts, card)| self.sample(card, facts));
        let file = match (&self.output, &sample, &card) {
            (Some(path), Some(sample), Some(card)) => file::add(path, card, sample, self.sample.as_deref())?,
            _ => None,
        };
        let verdict = plan.as_ref().zip(sample.as_ref()).map(|(plan, sample)| plan.settled(sample));
        let told = (file, verdict.as_ref());
        let body = self.body(told, card.as_ref(), compared.as_deref(), &fitting, &done);
        let differs = compared.as_ref().is_some_and(|lines| lines.iter().any(|line| line.fit == Fit::Differs));
        let exit = if done.is_err() || differs { Exit::Against } else { Exit::Usable };
        let text = || self.socket.marked(&text::render(&body, card.as_ref()));
        Ok(Answer::new(options.reader(), "measure", exit, &body, text))
    }

    fn sample(&self, card: &Card, facts: &Facts) -> Sample {
        let conditions = Conditions {
            bus: self.socket.bus_name(),
            simulated: self.socket.simulate,
            supply_mv: self.socket.supply,
            scl_khz: self.socket.scl_khz,
        };
        sample::of(card, facts, &conditions)
    }

    fn body<'b>(
        &'b self,
        (file, verdict): (Option<String>, Option<&'b Verdict>),
        card: Option<&'b Card>,
        compared: Option<&'b [Line]>,
        fitting: &'b [String],
        done: &'b Result<Done, Trouble>,
    ) -> Body<'b> {
        Body {
            part: card.map(|card| card.id.as_str()),
            bus: self.socket.bus_name(),
            simulated: self.socket.simulate,
            supply_mv: self.socket.supply,
            scl_khz: self.socket.scl_khz,
            facts: done.as_ref().ok().and_then(Done::facts),
            compared,
            fitting,
            restored_bytes: match done {
                Ok(Done::Restored(bytes)) => Some(*bytes),
                _ => None,
            },
            saved: self.saved.as_ref().or(self.restore.as_ref()).map(|folder| folder.display().to_string()),
            trouble: done.as_ref().err().map(Trouble::to_string),
            file,
            verdict,
        }
    }

    fn work(&self, probe: &mut Probe<'_>, hand: &mut (dyn Hand + 'static)) -> Result<Done, Trouble> {
        if let Some(folder) = &self.restore {
            return saved::restore(probe, folder).map(Done::Restored);
        }
        let facts = match (&self.saved, self.scratch) {
            (Some(saved), Some(scratch)) => {
                let hand: Option<&mut dyn Hand> = if self.wp_by_hand { Some(hand) } else { None };
                with_writes(probe, self.address, &mut Leave { scratch, saved, writes: self.writes, hand })?
            }
            _ => read_only(probe, self.address)?,
        };
        Ok(Done::Measured(Box::new(facts)))
    }
}

enum Done {
    Measured(Box<Facts>),
    Restored(u32),
}

impl Done {
    fn facts(&self) -> Option<&Facts> {
        match self {
            Self::Measured(facts) => Some(facts),
            Self::Restored(_) => None,
        }
    }
}

fn spinner() -> ProgressBar {
    let style = ProgressStyle::with_template("{spinner} {elapsed} {msg}");
    ProgressBar::new_spinner().with_style(style.unwrap_or_else(|_| ProgressStyle::default_spinner()))
}

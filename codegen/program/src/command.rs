//! The commands of the program, one file each, and what they have in common.

pub mod boards;
#[cfg(target_os = "linux")]
pub mod bridge;
pub mod budget;
pub mod channels;
pub mod classroom;
pub mod completions;
pub mod decide;
pub mod dump;
pub mod exposed;
pub mod generate;
pub mod hazards;
pub mod help;
pub mod image;
pub mod inspect;
pub mod invent;
pub mod layout;
pub mod lessons;
pub mod manual;
pub mod mark;
pub mod marking;
pub mod measure;
pub mod merge;
pub mod model;
pub mod moving;
pub mod observe;
pub mod order;
pub mod parts;
pub mod play;
pub mod program;
mod progress;
pub mod schema;
pub mod show;
pub mod socket;
mod steps;
mod stock;
pub mod survey;
pub mod swap;
#[cfg(target_os = "linux")]
pub mod trial;
pub mod values;
pub mod verify;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::output::{Answer, Reader};
use pagewise_base::fault::Faults;
use pagewise_part::card::{Card, Catalogue};

/// Swap a serial I2C EEPROM and keep the board working.
#[derive(Debug, Parser)]
#[command(name = "pagewise", version, arg_required_else_help = true, disable_help_subcommand = true)]
#[command(after_help = "Exit code: 0 usable, 1 the verdict or a hazard is against you, 2 the input was bad.")]
pub struct Program {
    /// Options of every command.
    #[command(flatten)]
    pub options: Options,
    /// The command.
    #[command(subcommand)]
    pub verb: Verb,
}

/// Options of every command.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options of every command")]
pub struct Options {
    /// Add your own cards: every *.toml file of this directory.
    #[arg(long, value_name = "DIR", global = true)]
    pub cards: Option<PathBuf>,
    /// Print one JSON document instead of text.
    #[arg(long, global = true)]
    pub json: bool,
    /// When to use colours; auto: on a terminal, unless NO_COLOR is set.
    #[arg(long, value_name = "WHEN", value_enum, default_value_t = Color::Auto, global = true, hide_possible_values = true)]
    #[arg(help = "When to use colours: auto (on a terminal, unless NO_COLOR is set), always, never")]
    pub color: Color,
}

/// When to use colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Color {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

impl From<Color> for anstream::ColorChoice {
    fn from(color: Color) -> Self {
        match color {
            Color::Auto => Self::Auto,
            Color::Always => Self::Always,
            Color::Never => Self::Never,
        }
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// List parts, all or those that match.
    Parts(parts::Parts),
    /// Show one part: every value with its source, and its address on the wire.
    Show(show::Show),
    /// Generate a configuration or a whole driver for parts.
    Generate(generate::Generate),
    /// Judge candidate parts for boards, with evidence from simulation.
    Swap(swap::Swap),
    /// Compute pull-ups, bus timing, times and wear of a part on a board.
    Budget(budget::BudgetCommand),
    /// Read markings and order codes: family, density, matching cards, and how sure that is.
    Marking(marking::Marking),
    /// Count how many drop-ins rest on conditions, over an invented fleet and every part.
    Survey(survey::SurveyCommand),
    /// Put the results of all shards of a fleet together.
    Merge(merge::Merge),
    /// Turn a table with a board a row into board files, or board files into a table.
    Boards(boards::Boards),
    /// Say what to order for each board, and how much of each part, from results that `swap --lines` wrote.
    Order(order::OrderCommand),
    /// Write a decision file for each board, to review and to keep; judge such files again.
    Decide(Box<decide::Decide>),
    /// Say which boards use a part, what can be fitted in its place, and how many pieces a last order takes.
    Exposed(exposed::Exposed),
    /// Write a fleet of invented boards, for demonstrations and benches.
    Invent(invent::Invent),
    /// List the ways to lose data, and run them failing.
    Hazards(hazards::Hazards),
    /// Play a bus program on a simulated part, step by step.
    Play(play::Play),
    /// Write a page for the browser in which a simulated part is driven step by step, with lessons.
    Classroom(classroom::ClassroomCommand),
    /// Mark what students handed in from the classroom.
    Mark(mark::Mark),
    /// Program parts: look, back up, write what differs, verify, record.
    Program(Box<program::Program>),
    /// Compare a part with an image.
    Verify(verify::Verify),
    /// Read a whole part into a file.
    Dump(dump::Dump),
    /// Find out on a bus what a part is: its addresses, page, write cycle, wraps.
    Measure(Box<measure::Measure>),
    /// Write the simulated chip of a part as a model file.
    Model(model::Model),
    /// Show where the regions of a layout lie in a part.
    Layout(layout::Layout),
    /// Build the images of a layout, one per unit.
    Image(image::Image),
    /// Make images for a new part of what old parts held.
    Move(moving::Move),
    /// Tell what a dump holds.
    Inspect(inspect::Inspect),
    /// Tell from recordings of the real bus what the firmware does.
    Observe(observe::Observe),
    /// Run a Linux program on a simulated bus.
    #[cfg(target_os = "linux")]
    Bridge(Box<bridge::Bridge>),
    /// Run a real program on the fitted part and on each candidate, with cuts of the supply.
    #[cfg(target_os = "linux")]
    Trial(Box<trial::Trial>),
    /// Write the JSON Schema of a kind of file.
    Schema(schema::Schema),
    /// Print the completion script of a shell.
    Completions(completions::Completions),
    /// Write the manual pages.
    Manual(manual::Manual),
    /// Print help on a command, or a chapter of the manual.
    Help(help::Help),
}

impl Verb {
    /// The word that calls it.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Parts(_) => "parts",
            Self::Show(_) => "show",
            Self::Generate(_) => "generate",
            Self::Swap(_) => "swap",
            Self::Budget(_) => "budget",
            Self::Marking(_) => "marking",
            Self::Survey(_) => "survey",
            Self::Merge(_) => "merge",
            Self::Boards(_) => "boards",
            Self::Order(_) => "order",
            Self::Decide(_) => "decide",
            Self::Exposed(_) => "exposed",
            Self::Invent(_) => "invent",
            Self::Hazards(_) => "hazards",
            Self::Play(_) => "play",
            Self::Classroom(_) => "classroom",
            Self::Mark(_) => "mark",
            Self::Program(_) => "program",
            Self::Verify(_) => "verify",
            Self::Dump(_) => "dump",
            Self::Measure(_) => "measure",
            Self::Model(_) => "model",
            Self::Layout(_) => "layout",
            Self::Image(_) => "image",
            Self::Move(_) => "move",
            Self::Inspect(_) => "inspect",
            Self::Observe(_) => "observe",
            #[cfg(target_os = "linux")]
            Self::Bridge(_) => "bridge",
            #[cfg(target_os = "linux")]
            Self::Trial(_) => "trial",
            Self::Schema(_) => "schema",
            Self::Completions(_) => "completions",
            Self::Manual(_) => "manual",
            Self::Help(_) => "help",
        }
    }
}

impl Program {
    /// Runs the command.
    ///
    /// # Errors
    /// Everything that is wrong with its input; nothing was written then.
    pub fn run(&self) -> Result<Answer, Faults> {
        match &self.verb {
            Verb::Parts(parts) => parts.run(&self.options),
            Verb::Show(show) => show.run(&self.options),
            Verb::Generate(generate) => generate.run(&self.options),
            Verb::Swap(swap) => swap.run(&self.options),
            Verb::Budget(budget) => budget.run(&self.options),
            Verb::Marking(marking) => marking.run(&self.options),
            Verb::Survey(survey) => survey.run(&self.options),
            Verb::Merge(merge) => merge.run(&self.options),
            Verb::Boards(boards) => boards.run(&self.options),
            Verb::Order(order) => order.run(&self.options),
            Verb::Decide(decide) => decide.run(&self.options),
            Verb::Exposed(exposed) => exposed.run(&self.options),
            Verb::Invent(invent) => invent.run(&self.options),
            Verb::Hazards(hazards) => hazards.run(&self.options),
            Verb::Play(play) => play.run(&self.options),
            Verb::Classroom(classroom) => classroom.run(&self.options),
            Verb::Mark(mark) => mark.run(&self.options),
            Verb::Program(program) => program.run(&self.options),
            Verb::Verify(verify) => verify.run(&self.options),
            Verb::Dump(dump) => dump.run(&self.options),
            Verb::Measure(measure) => measure.run(&self.options),
            Verb::Model(model) => model.run(&self.options),
            Verb::Layout(layout) => layout.run(&self.options),
            Verb::Image(image) => image.run(&self.options),
            Verb::Move(moving) => moving.run(&self.options),
            Verb::Inspect(inspect) => inspect.run(&self.options),
            Verb::Observe(observe) => observe.run(&self.options),
            #[cfg(target_os = "linux")]
            Verb::Bridge(bridge) => bridge.run(&self.options),
            #[cfg(target_os = "linux")]
            Verb::Trial(trial) => trial.run(&self.options),
            Verb::Schema(schema) => schema.run(&self.options),
            Verb::Completions(completions) => completions.run(&self.options),
            Verb::Help(help) => help.run(&self.options),
            Verb::Manual(manual) => manual.run(&self.options),
        }
    }
}

impl Options {
    /// Whom answers are for.
    #[must_use]
    pub const fn reader(&self) -> Reader {
        if self.json { Reader::Program } else { Reader::Person }
    }

    /// The embedded cards and the user's own.
    ///
    /// # Errors
    /// Everything that is wrong with the user's cards.
    pub fn catalogue(&self) -> Result<Catalogue, Faults> {
        match &self.cards {
            Some(directory) => Catalogue::with_directory(directory),
            None => Catalogue::embedded(),
        }
    }
}

/// The card that a user named on the command line.
///
/// # Errors
/// No card has this identifier or order code; the message names those that resemble it.
pub fn find<'c>(catalogue: &'c Catalogue, part: &str) -> Result<&'c Card, Faults> {
    Ok(catalogue.named(part, "command line", 0, "")?)
}

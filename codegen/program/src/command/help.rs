//! `pagewise help`: a command, or a chapter of the manual.

use clap::{Args, CommandFactory};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, Program};
use crate::chapters::{self, chapters};
use crate::output::{Answer, Exit, Shape, answers, wrapped};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::words;

/// Print help on a command, or a chapter of the manual: `pagewise help board files`.
#[derive(Debug, Args)]
pub struct Help {
    /// A command, or a topic; without one, all of them.
    #[arg(value_name = "COMMAND|TOPIC")]
    pub words: Vec<String>,
}

#[derive(JsonSchema, Serialize)]
struct Body {
    /// Command or topic; null: the list of all.
    topic: Option<String>,
    /// Topics that there are.
    topics: Vec<String>,
    /// For a terminal, without colours.
    text: String,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body>];

impl Help {
    /// Runs the command.
    ///
    /// # Errors
    /// No command and no topic is called so; the message names those that resemble it.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let asked = self.words.join("-");
        let text = match asked.as_str() {
            "" => Program::command().render_help().ansi().to_string() + &topics(),
            _ => of_command(&self.words).map_or_else(|| of_topic(&asked), Ok)?,
        };
        let body = Body {
            topic: (!asked.is_empty()).then_some(asked),
            topics: chapters().into_iter().map(|chapter| chapter.topic).collect(),
            text: anstream::adapter::strip_str(&text).to_string(),
        };
        Ok(Answer::new(options.reader(), "help", Exit::Usable, &body, || text))
    }
}

fn of_command(words: &[String]) -> Option<String> {
    let mut program = Program::command();
    program.build();
    let [word] = words else { return None };
    Some(program.find_subcommand_mut(word)?.render_long_help().ansi().to_string())
}

fn of_topic(asked: &str) -> Result<String, Faults> {
    chapters::find(asked).map(|chapter| chapter.text()).map_err(|near| {
        let program = Program::command();
        let commands = words::near(asked, program.get_subcommands().map(clap::Command::get_name), 2, 3);
        let near: Vec<&str> = near.iter().map(String::as_str).chain(commands).collect();
        let lists = "`pagewise help` lists commands and topics";
        let remedy = match near.as_slice() {
            [] => lists.to_owned(),
            some => format!("did you mean {}? {lists}", some.join(", ")),
        };
        Fault::of_file("help", format!("no command or topic is called `{asked}`"), remedy).into()
    })
}

/// The topics with what each is about.
fn topics() -> String {
    let lines = chapters().into_iter().map(|chapter| {
        let first = format!("  {:<22} ", chapter.topic);
        wrapped(&chapter.brief(), &first, "                         ") + "\n"
    });
    format!("\nTopics (`pagewise help TOPIC`):\n{}", lines.collect::<String>())
}

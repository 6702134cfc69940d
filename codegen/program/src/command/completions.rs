//! `pagewise completions`: completion of commands, options and what belongs behind them, in a shell.
//!
//! The script that is printed asks the program itself, so that parts, hazards and topics are those of this version.

use std::path::Path;

use clap::{Arg, Args, Command, CommandFactory};
use clap_complete::Shell;
use clap_complete::engine::{ArgValueCompleter, CompletionCandidate, PathCompleter};
use clap_complete::env::{CompleteEnv, Shells};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Options, Program};
use crate::chapters::chapters;
use crate::output::{Answer, Exit, Shape, answers};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::word;
use pagewise_judge::hazard;
use pagewise_part::card::{Catalogue, Footprint};

/// Print the completion script of a shell.
#[derive(Debug, Args)]
#[command(after_help = "bash: source <(pagewise completions bash); zsh, fish, elvish and powershell likewise.")]
pub struct Completions {
    /// The shell.
    #[arg(value_name = "SHELL", value_enum)]
    pub shell: Shell,
}

#[derive(JsonSchema, Serialize)]
struct Body<'a> {
    /// The shell.
    shell: String,
    /// Its script.
    script: &'a str,
}

/// What it prints with `--json`.
pub(crate) const ANSWERS: &[Shape] = &[answers::<Body<'static>>];

/// The variable by which a shell's script says what it wants.
const ASKS: &str = "COMPLETE";

impl Completions {
    /// Runs the command.
    ///
    /// # Errors
    /// A shell that has no script.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let shell = self.shell.to_string();
        let mut bytes = Vec::new();
        let shells = Shells::builtins();
        let written = shells
            .completer(&shell)
            .map(|it| it.write_registration(ASKS, "pagewise", "pagewise", "pagewise", &mut bytes));
        if !matches!(written, Some(Ok(()))) {
            return Err(Fault::of_file("SHELL", format!("`{shell}` has no script"), "name another").into());
        }
        let script = String::from_utf8_lossy(&bytes).into_owned();
        let body = Body { shell, script: &script };
        Ok(Answer::new(options.reader(), "completions", Exit::Usable, &body, || script.clone()))
    }
}

/// Answers a shell that asks what may follow, and ends the program then.
pub fn answer_shell() {
    CompleteEnv::with_factory(|| completing(Program::command())).var(ASKS).complete();
}

/// The command with what completes each value.
fn completing(command: Command) -> Command {
    let name = command.get_name().to_owned();
    let command = command.mut_args(|arg| match completer(&name, &arg) {
        Some(completer) => arg.add(completer),
        None => arg,
    });
    command.mut_subcommands(completing)
}

fn completer(command: &str, arg: &Arg) -> Option<ArgValueCompleter> {
    let value = arg.get_value_names().and_then(<[_]>::first).map(|name| name.to_string())?;
    let files = |endings: &'static [&'static str]| Some(ArgValueCompleter::new(of_kind(endings)));
    match (value.as_str(), arg.get_id().as_str()) {
        ("NAME", "names") if command == "hazards" => {
            Some(words(|| hazard::all().iter().map(|it| it.name.to_owned()).collect()))
        }
        (part, _) if part.starts_with("PART") => Some(words(parts)),
        ("FOOTPRINT" | "PACKAGE", _) => Some(words(word::all::<Footprint>)),
        ("COMMAND|TOPIC", _) => Some(words(topics)),
        ("FOLDER" | "DIR", _) => Some(ArgValueCompleter::new(PathCompleter::dir())),
        ("BOARD" | "TABLE", _) => files(&["toml", "csv", "tsv", "xlsx", "ods"]),
        ("LAYOUT", _) | ("FILE", "columns" | "decision" | "layout" | "board") => files(&["toml"]),
        ("CSV", _) | ("FILE", "stock" | "units" | "parts" | "boards") => files(&["csv", "tsv", "xlsx", "ods"]),
        ("RESULTS", _) | ("FILE", "since" | "lines" | "journal" | "earlier") => files(&["jsonl"]),
        ("IMAGE", _) => files(&["bin", "hex", "ihex", "srec", "s19", "mot", "jsonl"]),
        ("DUMP", _) => files(&["bin", "hex", "ihex", "srec", "s19", "mot"]),
        ("RECORDING", _) | ("FILE", "recordings") => files(&["sr", "vcd", "csv"]),
        ("MODEL", _) => files(&["json"]),
        ("FILE" | "PATH" | "LIST", _) => Some(ArgValueCompleter::new(PathCompleter::file())),
        _ => None,
    }
}

/// Files whose name has one of the endings, and folders on the way to them.
fn of_kind(endings: &'static [&'static str]) -> PathCompleter {
    let fits = |path: &Path| path.extension().and_then(|ending| ending.to_str()).map(str::to_lowercase);
    PathCompleter::any()
        .filter(move |path| path.is_dir() || fits(path).is_some_and(|ending| endings.contains(&ending.as_str())))
}

/// Words that begin with what was typed, capitals not told apart.
fn words(all: fn() -> Vec<String>) -> ArgValueCompleter {
    ArgValueCompleter::new(move |typed: &std::ffi::OsStr| {
        let typed = typed.to_string_lossy().to_lowercase();
        let fitting = all().into_iter().filter(|word| word.starts_with(&typed));
        fitting.map(CompletionCandidate::new).collect::<Vec<_>>()
    })
}

/// Identifiers of the embedded cards: a shell that asks says nothing of the user's own.
fn parts() -> Vec<String> {
    Catalogue::embedded()
        .map_or_else(|_| Vec::new(), |catalogue| catalogue.cards().iter().map(|card| card.id.clone()).collect())
}

fn topics() -> Vec<String> {
    let commands =
        Program::command().get_subcommands().map(|command| command.get_name().to_owned()).collect::<Vec<_>>();
    chapters().into_iter().map(|chapter| chapter.topic).chain(commands).collect()
}

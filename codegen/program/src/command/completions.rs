//! `pagewise completions`: completion of commands and options in a shell.

use clap::{Args, CommandFactory};
use clap_complete::Shell;
use serde::Serialize;

use super::{Options, Program};
use crate::output::{Answer, Exit};
use pagewise_base::fault::Faults;

/// Print the completion script of a shell.
#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_name = "SHELL", value_enum)]
    pub shell: Shell,
}

#[derive(Serialize)]
struct Body<'a> {
    shell: String,
    script: &'a str,
}

impl Completions {
    /// Runs the command.
    ///
    /// # Errors
    /// None.
    pub fn run(&self, options: &Options) -> Result<Answer, Faults> {
        let mut bytes = Vec::new();
        clap_complete::generate(self.shell, &mut Program::command(), "pagewise", &mut bytes);
        let script = String::from_utf8_lossy(&bytes).into_owned();
        let body = Body { shell: self.shell.to_string(), script: &script };
        Ok(Answer::new(options.reader(), "completions", Exit::Usable, &body, || script.clone()))
    }
}

//! The program `pagewise`: parse, run one command, print its answer.

use std::process::ExitCode;

use anstream::{AutoStream, eprintln};
use clap::Parser;
use pagewise::command::{Program, completions};
use pagewise::ending;
use pagewise::output::{self, Answer, Exit, Reader};

fn main() -> ExitCode {
    completions::answer_shell();
    ending::listen();
    let program = Program::parse();
    let (answer, faults) = match program.run() {
        Ok(answer) => (Some(answer), None),
        Err(faults) if program.options.reader() == Reader::Program => {
            (Some(Answer::of_faults(program.verb.name(), &faults)), Some(faults))
        }
        Err(faults) => (None, Some(faults)),
    };
    ending::hold();
    let mut exit = if faults.is_some() { Exit::BadInput } else { Exit::Usable };
    if let Some(mut answer) = answer {
        exit = answer.exit;
        let stdout = AutoStream::new(std::io::stdout(), program.options.color.into());
        if let Err(error) = answer.write(stdout) {
            eprintln!("standard output: cannot be written: {error}");
            exit = Exit::BadInput;
        }
    }
    if let Some(faults) = faults {
        let stderr = AutoStream::new(std::io::stderr(), program.options.color.into());
        let lines: String = faults.0.iter().map(|fault| output::plain(&fault.to_string()) + "\n").collect();
        // Nobody is left to tell when standard error itself fails.
        let _ = output::write(stderr, &lines);
    }
    ExitCode::from(exit.code())
}

//! What every command shares for its answer: colour, tables, wrapped text, and the JSON envelope.
//!
//! A command computes one serialisable body and one text for people; [`Answer::new`] renders the one that was asked
//! for. Text always carries its colours: the program strips them where the terminal or the user does not want them.
//!
//! # The JSON shape
//!
//! One object per run on standard output. It begins with `pagewise` (the version) and `command`; the fields of the
//! command follow. Fields are added in later versions, none changes its meaning. Sizes are bytes, other units are in
//! the name (`_mv`, `_us`, `scl_khz`). A value of a card is an object: `value`, `basis` (`published`, `derived`,
//! `assumed` or `generic`) and what the basis rests on (`document`, `document`, `why`, `from`). Roles of address bits are
//! texts in the notation of the cards. When the input is bad, `faults` stands in place of the command's fields and the
//! exit code is 2.

mod spool;
mod table;

use std::io::{self, Write};

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;
use serde_json::{Value, json};

use pagewise_base::paint::settled;
pub use pagewise_base::paint::{Tone, paint, plain};
pub use spool::Spool;
use spool::{Rest, shown};
pub use table::{Align, table, width, wrapped, wrapped_to};

use pagewise_base::fault::Faults;

/// Columns that answers for people are laid out for where no terminal says otherwise.
pub const WIDTH: usize = 80;

/// How a command ended, as the exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// 0: usable.
    Usable,
    /// 1: the verdict, or a hazard, is against you.
    Against,
    /// 2: the input was bad.
    BadInput,
    /// The exit code of a program that was run for the user.
    Program(u8),
}

impl Exit {
    /// The process's exit code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Usable => 0,
            Self::Against => 1,
            Self::BadInput => 2,
            Self::Program(code) => code,
        }
    }
}

/// What a command has to say: finished text for standard output, and how it ended.
#[derive(Debug)]
pub struct Answer {
    /// Text for people with colours, or one JSON document; ends with a line feed.
    pub text: String,
    /// How it ended.
    pub exit: Exit,
    /// What follows the text, where that is too long to be kept in memory.
    rest: Option<Rest>,
}

/// Whom an answer is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reader {
    /// A person at a terminal.
    Person,
    /// A program: one JSON document.
    Program,
}

#[derive(JsonSchema, Serialize)]
struct Envelope<'a, T> {
    /// Version of the program.
    pagewise: &'a str,
    /// The command.
    command: &'a str,
    #[serde(flatten)]
    body: &'a T,
}

#[derive(JsonSchema, Serialize)]
struct FaultBody<'a> {
    /// File as the user named it.
    file: &'a str,
    /// Line, counted from 1; 0 when no line applies.
    line: usize,
    /// Path of the field; empty when none applies.
    field: &'a str,
    /// What is wrong.
    reason: &'a str,
    /// What to do about it.
    remedy: &'a str,
}

#[derive(JsonSchema, Serialize)]
struct FaultsBody<'a> {
    faults: Vec<FaultBody<'a>>,
}

impl Answer {
    /// The answer of `command` for its reader: `body` in the JSON envelope, or `text()`.
    ///
    /// `body` must serialise to a JSON object (a struct with named fields); its fields follow `pagewise` (version) and
    /// `command` at the top level.
    ///
    /// # Panics
    /// When `body` does not serialise to an object, which is a mistake in the program.
    pub fn new<T: Serialize>(
        reader: Reader,
        command: &str,
        exit: Exit,
        body: &T,
        text: impl FnOnce() -> String,
    ) -> Self {
        let mut text = match reader {
            Reader::Person => settled(&text()),
            Reader::Program => envelope(command, body),
        };
        if !text.ends_with('\n') {
            text.push('\n');
        }
        Self::text(text, exit)
    }

    /// An answer that is finished text.
    #[must_use]
    pub const fn text(text: String, exit: Exit) -> Self {
        Self { text, exit, rest: None }
    }

    /// The answer of `command` for a program, with `list` in place of the list that ends the body and is empty there.
    ///
    /// # Panics
    /// When the body does not end in an empty list, which is a mistake in the program.
    pub fn spooled<T: Serialize>(command: &str, exit: Exit, body: &T, list: Spool) -> Self {
        let mut text = envelope(command, body);
        let rest = Some(Rest::behind(&mut text, list));
        Self { text, exit, rest }
    }

    /// Writes all of it. A reader that has gone away (`pagewise parts | head -3`) is no error.
    ///
    /// # Errors
    /// Any other failure of the stream, a full disk for example.
    pub fn write(&mut self, mut stream: impl Write) -> io::Result<()> {
        let first = stream.write_all(self.text.as_bytes());
        let rest = first.and_then(|()| self.rest.as_mut().map_or(Ok(()), |rest| rest.copy(&mut stream)));
        unless_gone(rest.and_then(|()| stream.flush()))
    }

    /// What a program reads on standard output when the input was bad: the faults, field by field.
    #[must_use]
    pub fn of_faults(command: &str, faults: &Faults) -> Self {
        let body = FaultsBody {
            faults: faults
                .0
                .iter()
                .map(|fault| FaultBody {
                    file: &fault.file,
                    line: fault.line,
                    field: &fault.field,
                    reason: &fault.reason,
                    remedy: &fault.remedy,
                })
                .collect(),
        };
        Self::text(envelope(command, &body) + "\n", Exit::BadInput)
    }
}

/// What makes the schema of a body in its envelope.
pub type Shape = fn(&mut SchemaGenerator) -> Schema;

/// The schema of an answer whose body is a `T`.
pub fn answers<T: JsonSchema + 'static>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<Envelope<'static, T>>()
}

/// The JSON Schema (2020-12) of what a command prints with `--json`: one of its bodies, or the faults of its input.
#[must_use]
pub fn schema_of(command: &str, bodies: &[Shape]) -> Value {
    let mut generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let faults: Shape = answers::<FaultsBody<'static>>;
    let any: Vec<Schema> = bodies.iter().chain([&faults]).map(|shape| shape(&mut generator)).collect();
    let definitions = generator.take_definitions(true);
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": format!("Answer of pagewise {command} --json"),
        "anyOf": any,
        "$defs": definitions,
    })
}

fn envelope<T: Serialize>(command: &str, body: &T) -> String {
    let whole = Envelope { pagewise: env!("CARGO_PKG_VERSION"), command, body };
    let text = serde_json::to_string_pretty(&whole).expect("the body of an answer is a struct with named fields");
    shown(&text)
}

/// Writes all of `text`. A reader that has gone away (`pagewise parts | head -3`) is no error.
///
/// # Errors
/// Any other failure of the stream, a full disk for example.
pub fn write(mut stream: impl Write, text: &str) -> io::Result<()> {
    unless_gone(stream.write_all(text.as_bytes()).and_then(|()| stream.flush()))
}

fn unless_gone(result: io::Result<()>) -> io::Result<()> {
    match result {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pagewise_base::fault::Fault;

    #[derive(Serialize)]
    struct Body {
        answer: u32,
    }

    #[test]
    fn the_envelope_starts_with_version_and_command() {
        let answer = Answer::new(Reader::Program, "parts", Exit::Usable, &Body { answer: 42 }, || unreachable!());
        let version = env!("CARGO_PKG_VERSION");
        let expected = format!("{{\n  \"pagewise\": \"{version}\",\n  \"command\": \"parts\",\n  \"answer\": 42\n}}\n");
        assert_eq!(answer.text, expected);
    }

    #[test]
    fn faults_are_told_field_by_field() {
        let faults = Faults::from(Fault::of_file("--offset", "too far", "use less"));
        let answer = Answer::of_faults("show", &faults);
        let value: serde_json::Value = serde_json::from_str(&answer.text).unwrap();
        assert_eq!(value["faults"][0]["file"], "--offset");
        assert_eq!(value["faults"][0]["remedy"], "use less");
        assert_eq!(answer.exit.code(), 2);
    }

    struct Gone;

    impl Write for Gone {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(io::ErrorKind::BrokenPipe.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn a_reader_that_went_away_is_no_error() {
        assert!(write(Gone, "text").is_ok());
    }
}

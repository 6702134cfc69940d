//! Results as JSON Lines: a header that says what they are results of, then one line for each board.

use std::fs;
use std::io::BufRead;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{BoardOutcomes, Shard};
use crate::swap::{Accept, Verdict};
use pagewise_base::chain;
use pagewise_base::fault::{Fault, Faults};

/// The word in every header.
const KIND: &str = "swap-results";

/// Most boards of a fleet: far more than anybody makes, few enough to count in no time.
const MOST: usize = 1_000_000;

/// The first line.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Header {
    /// Version of Pagewise.
    pub pagewise: String,
    /// What the file is.
    pub kind: String,
    /// Digest of everything that the results depend on.
    pub digest: String,
    /// Which part of the fleet it holds.
    pub shard: Shard,
    /// Boards of the whole fleet.
    pub boards: usize,
    /// The worst verdict that counts as usable.
    pub accept: Verdict,
    /// Whether conditions are granted.
    pub accept_conditions: bool,
    /// Currency of the stock list's prices; empty where there is none.
    pub currency: String,
}

impl Header {
    /// The header of this version's results.
    #[must_use]
    pub fn new(digest: String, shard: Shard, boards: usize, accept: Accept, currency: &str) -> Self {
        let (pagewise, kind) = (env!("CARGO_PKG_VERSION").to_owned(), KIND.to_owned());
        let (accept, accept_conditions, currency) = (accept.worst, accept.conditions, currency.to_owned());
        Self { pagewise, kind, digest, shard, boards, accept, accept_conditions, currency }
    }

    /// What counts as usable.
    #[must_use]
    pub const fn accepts(&self) -> Accept {
        Accept { worst: self.accept, conditions: self.accept_conditions }
    }
}

/// Writes lines that hold together ([`pagewise_base::chain`]), the header first.
#[derive(Debug, Default)]
pub struct Writer {
    /// Digest of the line before.
    digest: String,
}

impl Writer {
    /// A header or a board as the next line, with its line feed.
    ///
    /// # Panics
    /// Never for the two.
    #[must_use]
    pub fn line<T: Serialize>(&mut self, value: &T) -> String {
        let object = serde_json::to_string(value).expect("plain data serialises");
        let (line, digest) = chain::seal(&object, &self.digest);
        self.digest = digest;
        line + "\n"
    }
}

/// What one file holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Results {
    /// File as the user named it.
    pub file: String,
    /// The first line.
    pub header: Header,
    /// The others.
    pub boards: Vec<BoardOutcomes>,
}

/// Reads results.
///
/// # Errors
/// The file cannot be read, is not a file of results of this version, holds boards of another shard or not all of its own.
pub fn read(path: &Path) -> Result<Results, Faults> {
    let file = path.display().to_string();
    let unreadable = |error: std::io::Error| Fault::unreadable(&file, &error);
    let reader = std::io::BufReader::new(fs::File::open(path).map_err(unreadable)?);
    parse(&file, reader)
}

/// Reads the results of `file` from its text.
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, text: impl BufRead) -> Result<Results, Faults> {
    let again = "run the shard again";
    let fault = |line: usize, reason: String| Fault { line, ..Fault::of_file(file, reason, again) };
    let mut lines = text.lines().enumerate().map(|(index, line)| (index + 1, line));
    let (header, mut digest) = match lines.next() {
        Some((_, Ok(line))) => header(file, &line)?,
        Some((_, Err(error))) => return Err(Fault { line: 1, ..Fault::unreadable(file, &error) }.into()),
        None => return Err(Fault::of_file(file, "is empty", again).into()),
    };
    let mut faults = Vec::new();
    let mut boards: Vec<BoardOutcomes> = Vec::new();
    let mut expected = (0..header.boards).filter(|place| header.shard.holds(*place));
    for (number, line) in lines {
        let board = line.map_err(|error| error.to_string());
        let board = board.and_then(|line| {
            let (object, own) = chain::open(&line, &digest)?;
            Ok((serde_json::from_str::<BoardOutcomes>(&object).map_err(|error| plainly(&error))?, own))
        });
        match board {
            Ok((board, own)) => {
                digest = own;
                let next = expected.next();
                if next != Some(board.place) {
                    let wanted = next.map_or_else(|| "none is left".to_owned(), |next| format!("{next} is next"));
                    let shard = header.shard;
                    faults.push(fault(number, format!("board {} where {wanted} in shard {shard}", board.place)));
                    break;
                }
                boards.push(board);
            }
            Err(error) => {
                faults.push(fault(number, format!("is not a result of a board: {error}")));
                break;
            }
        }
    }
    let missing = expected.count();
    if missing > 0 && faults.is_empty() {
        faults.push(Fault::of_file(file, format!("{missing} boards of shard {} are missing", header.shard), again));
    }
    Faults(faults).or_ok(Results { file: file.to_owned(), header, boards })
}

/// The header, and the digest of its line.
fn header(file: &str, line: &str) -> Result<(Header, String), Faults> {
    #[derive(Deserialize)]
    struct Any {
        kind: String,
        pagewise: String,
    }
    let fault = |reason: String, remedy: &str| Faults::from(Fault { line: 1, ..Fault::of_file(file, reason, remedy) });
    let ours = "name files that `pagewise swap --lines FILE` wrote";
    let any = serde_json::from_str::<Any>(line).ok().filter(|any| any.kind == KIND);
    let Some(any) = any else { return Err(fault("does not begin with the header of swap results".into(), ours)) };
    if any.pagewise != env!("CARGO_PKG_VERSION") {
        let reason = format!("was written by version {}, this is {}", any.pagewise, env!("CARGO_PKG_VERSION"));
        return Err(fault(reason, "run all shards and the merge with one version"));
    }
    let (object, digest) =
        chain::open(line, "").map_err(|reason| fault(format!("is not a header of results: {reason}"), ours))?;
    let header: Header = serde_json::from_str(&object).map_err(|error| fault(plainly(&error), ours))?;
    if !header.shard.is_sound() {
        return Err(fault(format!("shard {} cannot exist", header.shard), ours));
    }
    if header.boards > MOST {
        return Err(fault(format!("a fleet of {} boards, at most {MOST}", header.boards), ours));
    }
    Ok((header, digest))
}

/// An error without the place inside a line, which means nothing to a person.
fn plainly(error: &serde_json::Error) -> String {
    let text = error.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

//! A long list of a JSON answer, kept on disk until the answer is whole: a fleet's judgements need not fit into memory, and an
//! answer that fails after all has printed nothing.

use std::fs::File;
use std::io::{self, BufWriter, Read, Seek, Write};

use serde::Serialize;

use pagewise_base::fault::Fault;
use pagewise_base::paint::steers;

/// What JSON lets stand raw in a string, a terminal need not: the same string in other words.
pub(super) fn shown(text: &str) -> String {
    let escaped = |c: char| if c != '\n' && steers(c) { format!("\\u{:04x}", u32::from(c)) } else { c.to_string() };
    text.chars().map(escaped).collect()
}

/// Where a body leaves its list empty for [`Spool`] to fill in, as the last of its fields.
const EMPTY: &str = "[]\n}";

/// The items of a list, written one by one.
#[derive(Debug)]
pub struct Spool {
    file: BufWriter<File>,
    items: usize,
}

impl Spool {
    /// An empty list, in the system's folder for temporary files, without a name there.
    ///
    /// # Errors
    /// No file can be made there.
    pub fn new() -> Result<Self, Fault> {
        let file = tempfile::tempfile().map_err(|error| failed(&error))?;
        Ok(Self { file: BufWriter::new(file), items: 0 })
    }

    /// Adds an item.
    ///
    /// # Errors
    /// The disk is full.
    ///
    /// # Panics
    /// When the item does not serialise, which is a mistake in the program.
    pub fn push<T: Serialize>(&mut self, item: &T) -> Result<(), Fault> {
        let text = serde_json::to_string_pretty(item).expect("an item of an answer serialises");
        let comma = if self.items == 0 { "" } else { "," };
        self.items += 1;
        // Two levels below the answer.
        let indented = shown(&text).replace('\n', "\n    ");
        write!(self.file, "{comma}\n    {indented}").map_err(|error| failed(&error))
    }
}

/// The second half of an answer: the list, and what follows.
#[derive(Debug)]
pub struct Rest {
    list: Spool,
    end: &'static str,
}

impl Rest {
    /// Cuts an answer where its list belongs.
    ///
    /// # Panics
    /// When the list is not the last field of the body, which is a mistake in the program.
    pub(super) fn behind(text: &mut String, list: Spool) -> Self {
        assert!(text.ends_with(EMPTY), "the list of an answer is the last of its fields");
        text.truncate(text.len() - EMPTY.len());
        text.push('[');
        let end = if list.items == 0 { "]\n}\n" } else { "\n  ]\n}\n" };
        Self { list, end }
    }

    /// Copies it to where the first half went.
    pub(super) fn copy(&mut self, stream: &mut impl Write) -> io::Result<()> {
        self.list.file.flush()?;
        let file = self.list.file.get_mut();
        file.rewind()?;
        let mut piece = vec![0; 1 << 16];
        loop {
            match file.read(&mut piece)? {
                0 => return stream.write_all(self.end.as_bytes()),
                length => stream.write_all(&piece[..length])?,
            }
        }
    }
}

fn failed(error: &io::Error) -> Fault {
    let reason = format!("the answer cannot be kept there: {error}");
    Fault::of_file("temporary folder", reason, "make room, or name another folder by the variable TMPDIR")
}

#[cfg(test)]
mod tests {
    use super::super::{Answer, Exit, Reader};
    use super::*;

    #[derive(Serialize)]
    struct Body {
        before: u32,
        list: Vec<Vec<&'static str>>,
    }

    fn printed(mut answer: Answer) -> String {
        let mut out = Vec::new();
        answer.write(&mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_spooled_list_prints_as_one_that_is_in_memory() {
        for list in [vec![], vec![vec!["a\u{1b}[1m", "b"]], vec![vec!["c"], vec![], vec!["\n"]]] {
            let mut spool = Spool::new().unwrap();
            list.iter().for_each(|item| spool.push(item).unwrap());
            let whole = Body { before: 1, list };
            let whole = Answer::new(Reader::Program, "swap", Exit::Usable, &whole, String::new);
            let body = Body { before: 1, list: Vec::new() };
            assert_eq!(printed(Answer::spooled("swap", Exit::Usable, &body, spool)), printed(whole));
        }
    }
}

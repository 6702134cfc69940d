//! Every text of the classroom, in one file that can be translated.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use pagewise_base::fault::{Fault, Faults};
use pagewise_player::Graded;
use pagewise_templates::classroom;
use toml::Spanned;

/// Texts by their keys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Texts(BTreeMap<String, String>);

impl Default for Texts {
    fn default() -> Self {
        Self::english()
    }
}

impl Texts {
    /// Those that come with the program.
    ///
    /// # Panics
    /// Never: a test reads them.
    #[must_use]
    pub fn english() -> Self {
        let read: BTreeMap<String, String> = toml::from_str(classroom::TEXTS).expect("embedded texts are TOML");
        Self(read)
    }

    /// A translation: all keys of the embedded file, each with the same names in braces.
    ///
    /// # Errors
    /// A file that cannot be read; every key that is missing or unknown, and every name in braces that is.
    pub fn read(path: &Path) -> Result<Self, Faults> {
        let file = path.display().to_string();
        let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
        Self::parse(&file, &text)
    }

    /// A translation from the text of `file`.
    ///
    /// # Errors
    /// Those of [`Texts::read`].
    pub fn parse(file: &str, text: &str) -> Result<Self, Faults> {
        let read: BTreeMap<String, Spanned<String>> = toml::from_str(text).map_err(|error| {
            let reason = format!("not a table of texts: {}", error.message().replace('\n', ", "));
            Fault::of_file(file, reason, "write `key = \"text\"`, a line each")
        })?;
        let line = |span: std::ops::Range<usize>| text[..span.start].matches('\n').count() + 1;
        let english = Self::english();
        let mut faults = Vec::new();
        let mut note = |line: usize, key: &str, reason: String, remedy: &str| {
            faults.push(Fault {
                file: file.to_owned(),
                line,
                field: key.to_owned(),
                reason,
                remedy: remedy.to_owned(),
            });
        };
        for key in english.0.keys().filter(|key| !read.contains_key(*key)) {
            note(1, key, "is missing".to_owned(), "translate it, too");
        }
        for (key, value) in &read {
            let at = line(value.span());
            let Some(ours) = english.0.get(key) else {
                note(at, key, "is not a text of the classroom".to_owned(), "remove it or correct its name");
                continue;
            };
            let (wanted, has) = (names(ours), names(value.get_ref()));
            for name in has.difference(&wanted) {
                note(
                    at,
                    key,
                    format!("nothing is filled in for `{{{name}}}`"),
                    "use only the names of the English text",
                );
            }
        }
        let texts = read.into_iter().map(|(key, value)| (key, value.into_inner())).collect();
        Faults(faults).or_ok(Self(texts))
    }

    /// The text of a key, with what stands in braces filled in.
    #[must_use]
    pub fn say(&self, key: &str, values: &[(&str, &str)]) -> String {
        let mut text = self.0.get(key).cloned().unwrap_or_else(|| key.to_owned());
        for (name, value) in values {
            text = text.replace(&format!("{{{name}}}"), value);
        }
        text
    }

    /// All of them.
    #[must_use]
    pub const fn all(&self) -> &BTreeMap<String, String> {
        &self.0
    }

    /// What a program came to, in a sentence.
    #[must_use]
    pub fn graded(&self, graded: &Graded) -> String {
        match graded {
            Graded::Passed => self.say("graded_passed", &[]),
            Graded::TooLong => self.say("graded_too-long", &[]),
            Graded::Lost { bytes, offset, why } => {
                let (bytes, offset) = (bytes.to_string(), format!("0x{offset:04X}"));
                self.say("graded_lost", &[("bytes", &bytes), ("offset", &offset), ("why", why)])
            }
            Graded::ReadsWrong { wanted, came, first } => {
                let (wanted, came, first) = (wanted.to_string(), came.to_string(), (first + 1).to_string());
                self.say("graded_reads-wrong", &[("wanted", &wanted), ("came", &came), ("first", &first)])
            }
            Graded::TooFew { cycles, wanted } => {
                let (cycles, wanted) = (cycles.to_string(), wanted.to_string());
                self.say("graded_too-few", &[("cycles", &cycles), ("wanted", &wanted)])
            }
            Graded::Warned { hazard, text } => self.say("graded_warned", &[("hazard", hazard.name()), ("text", text)]),
            Graded::Ruined { line, torn } => self.say("graded_ruined", &[("line", &line.to_string()), ("torn", torn)]),
        }
        .trim()
        .to_owned()
    }
}

/// Names in braces.
fn names(text: &str) -> BTreeSet<&str> {
    text.split('{').skip(1).filter_map(|piece| piece.split_once('}')).map(|(name, _)| name).collect()
}

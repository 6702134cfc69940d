//! Words of the command line: adapters, cuts, levels, and commands as one types them.

use std::ffi::OsString;

use clap::ValueEnum;
use pagewise_session::plan::{Adapter, Nack};

/// Length of a short message.
const SHORT: u16 = 32;

/// Habits of adapters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Adapters {
    /// None: what most adapters do.
    Plain,
    /// EREMOTEIO for a missing acknowledge.
    Eremoteio,
    /// EIO for a missing acknowledge.
    Eio,
    /// No message longer than 32 bytes.
    Short,
    /// No message without bytes.
    NoEmpty,
}

impl Adapters {
    pub(super) fn word(self) -> String {
        self.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned())
    }

    pub(super) fn adapter(self) -> Adapter {
        let plain = Adapter::default();
        match self {
            Self::Plain => plain,
            Self::Eremoteio => Adapter { nack: Nack::Eremoteio, ..plain },
            Self::Eio => Adapter { nack: Nack::Eio, ..plain },
            Self::Short => Adapter { longest_message: Some(SHORT), ..plain },
            Self::NoEmpty => Adapter { no_empty_messages: true, ..plain },
        }
    }
}

/// How many cuts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CutCount {
    /// At every moment.
    All,
    /// At so many where there are more than 500 moments.
    Drawn(usize),
}

/// `all`, or a number.
pub(super) fn cut_count(text: &str) -> Result<CutCount, String> {
    match text {
        "all" => Ok(CutCount::All),
        text => text
            .parse()
            .ok()
            .filter(|count| (1..=1_000_000).contains(count))
            .map(CutCount::Drawn)
            .ok_or_else(|| "write how many, such as 64, or `all`".to_owned()),
    }
}

/// Levels of A2 A1 A0 as three digits; returned as A0, A1, A2.
pub(super) fn levels(text: &str) -> Result<[bool; 3], String> {
    let digits: Vec<bool> = text.chars().filter(|c| matches!(c, '0' | '1')).map(|c| c == '1').rev().collect();
    let digits = <[bool; 3]>::try_from(digits).ok().filter(|_| text.len() == 3);
    digits.ok_or_else(|| "write the levels of A2 A1 A0, such as 001".to_owned())
}

/// A command as one types it.
pub(super) fn shown(command: &[OsString]) -> String {
    let words: Vec<String> = command.iter().map(|word| quoted(&word.to_string_lossy())).collect();
    words.join(" ")
}

/// A word as a shell reads it back.
pub(super) fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=:,@%+".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_come_back_from_a_shell() {
        let words = ["plain", "two words", "it's", "$HOME", "", "a;b", "ü"];
        let line: Vec<String> = words.iter().map(|word| quoted(word)).collect();
        let script = format!("printf '%s\\n' {}", line.join(" "));
        let said = std::process::Command::new("sh").args(["-c", &script]).output().unwrap();
        assert_eq!(String::from_utf8(said.stdout).unwrap().lines().collect::<Vec<_>>(), words);
    }

    #[test]
    fn levels_are_those_of_a2_a1_a0() {
        assert_eq!(levels("001"), Ok([true, false, false]));
        assert_eq!(levels("100"), Ok([false, false, true]));
        for bad in ["", "01", "0011", "a01", "0 1"] {
            assert!(levels(bad).is_err(), "{bad}");
        }
        assert_eq!((cut_count("all"), cut_count("64")), (Ok(CutCount::All), Ok(CutCount::Drawn(64))));
        assert!(cut_count("0").is_err() && cut_count("some").is_err());
    }
}

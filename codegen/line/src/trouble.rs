//! Troubles that can be put on the simulated bus, for demonstrations and tests: `KEY` or `KEY=VALUE`.

use std::str::FromStr;

/// One trouble of the simulated bench. Writes and write cycles are counted from 1, bytes on the bus from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// Another part sits in the socket.
    Fitted(String),
    /// WP is tied to the supply.
    WriteProtect,
    /// A foreign device answers.
    Other(u8),
    /// This byte on the bus is not acknowledged.
    Nack(u64),
    /// This write cycle stores nothing.
    LostWrite(u64),
    /// This write cycle never ends.
    EndlessWrite(u64),
    /// The supply is lost inside this write cycle.
    Cut(u64),
    /// The part is unplugged after this many writes.
    Unplugged(u64),
    /// A cell whose lowest bit is stuck at 0.
    Stuck(u32),
    /// The part is inside a write cycle when the line comes to it.
    Busy,
    /// Simulated time takes as long as real time.
    RealTime,
}

/// The words, with what stands behind `=`.
pub const WORDS: [&str; 11] = [
    "fitted=PART",
    "wp",
    "other=ADDRESS",
    "nack=BYTE",
    "lost-write=N",
    "endless-write=N",
    "cut=N",
    "unplugged=N",
    "stuck=OFFSET",
    "busy",
    "real-time",
];

impl FromStr for Trouble {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (key, value) = match text.split_once('=') {
            Some((key, value)) => (key, Some(value)),
            None => (text, None),
        };
        let unknown = || format!("`{text}` is no trouble of the simulated bus; use one of: {}", WORDS.join(", "));
        let number = |least: u64, most: u64| {
            let value = value.ok_or_else(unknown)?;
            let parsed = match value.strip_prefix("0x") {
                Some(digits) => u64::from_str_radix(digits, 16),
                None => value.parse(),
            };
            let inside = parsed.ok().filter(|number| (least..=most).contains(number));
            inside.ok_or_else(|| format!("`{text}`: `{value}` is not a number from {least} to {most}"))
        };
        let bare = |trouble: Self| if value.is_none() { Ok(trouble) } else { Err(unknown()) };
        match key {
            "fitted" => match value {
                Some(part) if !part.is_empty() => Ok(Self::Fitted(part.to_owned())),
                _ => Err(unknown()),
            },
            "wp" => bare(Self::WriteProtect),
            "other" => Ok(Self::Other(number(0x08, 0x77)? as u8)),
            "nack" => Ok(Self::Nack(number(0, u64::MAX)?)),
            "lost-write" => Ok(Self::LostWrite(number(1, u64::MAX)?)),
            "endless-write" => Ok(Self::EndlessWrite(number(1, u64::MAX)?)),
            "cut" => Ok(Self::Cut(number(1, u64::MAX)?)),
            "unplugged" => Ok(Self::Unplugged(number(0, u64::MAX)?)),
            "stuck" => Ok(Self::Stuck(number(0, u64::from(u32::MAX))? as u32)),
            "busy" => bare(Self::Busy),
            "real-time" => bare(Self::RealTime),
            _ => Err(unknown()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn troubles_are_read_or_refused_with_the_list_of_them() {
        assert_eq!("fitted=24lc16b".parse(), Ok(Trouble::Fitted("24lc16b".into())));
        assert_eq!("stuck=0x120".parse(), Ok(Trouble::Stuck(0x120)));
        assert_eq!("busy".parse(), Ok(Trouble::Busy));
        for bad in ["", "x", "fitted", "fitted=", "busy=1", "cut=0", "cut=x", "other=0x80", "nack"] {
            assert!(bad.parse::<Trouble>().is_err(), "{bad}");
        }
    }
}

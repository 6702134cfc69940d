//! Numbers, names and bytes in words, the same in every answer and document.

use std::fmt::{Display, Write};

/// A count with its thing: `1 board`, `2 boards`.
#[must_use]
pub fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// A text of at most `most` characters: cut at its end, with `…` for the rest.
#[must_use]
pub fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

/// A number with its digits in groups of three: `1 000 000`.
#[must_use]
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let groups: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().filter_map(|group| std::str::from_utf8(group).ok()).collect();
    groups.join(" ")
}

/// Thousandths as the unit itself, without digits that say nothing: millivolts as volts, microseconds as milliseconds.
#[must_use]
pub fn thousandths(value: u32) -> f64 {
    f64::from(value) / 1000.0
}

/// Millivolts: `3.3 V`.
#[must_use]
pub fn volts(mv: u32) -> String {
    format!("{} V", thousandths(mv))
}

/// Microseconds: `5 ms`.
#[must_use]
pub fn ms(us: u32) -> String {
    format!("{} ms", thousandths(us))
}

/// Bytes without a space, in lower case as digests are written: `0a1b`.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Bytes with a space between, in upper case as dumps are shown: `0A 1B`.
#[must_use]
pub fn spaced_hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ")
}

/// The names that resemble `wanted`, nearest first, at most `most` of them: those at most `distance` letters away and those
/// that hold it. Capitals do not count.
#[must_use]
pub fn near<'n>(wanted: &str, names: impl IntoIterator<Item = &'n str>, distance: usize, most: usize) -> Vec<&'n str> {
    let wanted = wanted.to_lowercase();
    let mut near: Vec<(usize, &str)> = names
        .into_iter()
        .map(|name| (strsim::levenshtein(&wanted, &name.to_lowercase()), name))
        .filter(|(far, name)| *far <= distance || wanted.len() >= 3 && name.to_lowercase().contains(&wanted))
        .collect();
    near.sort_unstable();
    near.into_iter().take(most).map(|(_, name)| name).collect()
}

/// Things one after another: `a, b, c`.
#[must_use]
pub fn listed<T: Display>(things: impl IntoIterator<Item = T>) -> String {
    things.into_iter().map(|thing| thing.to_string()).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_numbers_read_well() {
        assert_eq!([counted(1, "byte"), counted(0, "byte")], ["1 byte", "0 bytes"]);
        assert_eq!([grouped(7), grouped(1000), grouped(41_024_000)], ["7", "1 000", "41 024 000"]);
        assert_eq!([volts(3300), ms(5000), ms(1500)], ["3.3 V", "5 ms", "1.5 ms"]);
        assert_eq!(listed([1, 2]), "1, 2");
    }

    #[test]
    fn texts_are_cut_by_characters() {
        assert_eq!([cut("größer", 6), cut("größer", 4), cut("a", 0)], ["größer", "grö…", "…"]);
    }

    #[test]
    fn bytes_are_written_in_two_ways() {
        assert_eq!([hex(&[0x0A, 0x1B]), spaced_hex(&[0x0A, 0x1B]), hex(&[])], ["0a1b", "0A 1B", ""]);
    }

    #[test]
    fn the_nearest_names_come_first() {
        let names = ["24lc64", "24lc65", "24lc256", "at24c02"];
        assert_eq!(near("24LC6", names, 3, 2), ["24lc64", "24lc65"]);
        assert_eq!(near("c02", names, 1, 4), ["at24c02"]);
        assert_eq!(near("zz", names, 1, 4), [""; 0]);
    }
}

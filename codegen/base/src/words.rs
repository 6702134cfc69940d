//! Numbers, names and bytes in words, the same in every answer and document.

use std::collections::BTreeSet;
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

/// A text of at most `most` characters: shortened in its middle, since names differ at their ends.
#[must_use]
pub fn shortened(text: &str, most: usize) -> String {
    let length = text.chars().count();
    if length <= most {
        return text.to_owned();
    }
    let kept = most.saturating_sub(1);
    let (head, tail) = (kept.div_ceil(2), kept / 2);
    text.chars().take(head).chain(['…']).chain(text.chars().skip(length - tail)).collect()
}

/// A name for a file or an anchor of each name: its letters and digits with `-` between, `other` where it has none. No two
/// are equal.
#[must_use]
pub fn stems(names: &[String], other: &str) -> Vec<String> {
    let mut used = BTreeSet::new();
    let one = |name: &String| {
        let lower = name.to_lowercase();
        let pieces = lower.split(|c: char| !c.is_ascii_alphanumeric()).filter(|piece| !piece.is_empty());
        // Every system takes 200 characters.
        let stem: String = pieces.collect::<Vec<_>>().join("-").chars().take(200).collect();
        let stem = if stem.is_empty() { other.to_owned() } else { stem };
        let numbered = (2..).map(|number| format!("{stem}-{number}"));
        let free = std::iter::once(stem.clone()).chain(numbered).find(|name| !used.contains(name));
        let free = free.unwrap_or(stem);
        used.insert(free.clone());
        free
    };
    names.iter().map(one).collect()
}

/// Microseconds in the unit that reads well: `850 us`, `141 ms`, `2.13 s`, `3 min 20 s`, `1 h 5 min`.
#[must_use]
pub fn duration(us: f64) -> String {
    let digits = |value: f64| {
        let places = if value < 10.0 { 2 } else { usize::from(value < 100.0) };
        let text = format!("{value:.places$}");
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    };
    let whole_s = (us / 1e6).round() as u64;
    match us {
        us if us < 999.5 => format!("{} us", digits(us)),
        us if us < 999_500.0 => format!("{} ms", digits(us / 1e3)),
        us if us < 119.5e6 => format!("{} s", digits(us / 1e6)),
        _ if whole_s < 7200 && whole_s.is_multiple_of(60) => format!("{} min", whole_s / 60),
        _ if whole_s < 7200 => format!("{} min {} s", whole_s / 60, whole_s % 60),
        _ => format!("{} h {} min", whole_s / 3600, whole_s % 3600 / 60),
    }
}

/// A moment since a beginning, from nanoseconds, to the microsecond: `1.375 us`, `311.702 ms`, `2.133451 s`.
#[must_use]
pub fn moment(ns: u64) -> String {
    match ns {
        0..1_000_000 => format!("{}.{:03} us", ns / 1000, ns % 1000),
        1_000_000..1_000_000_000 => format!("{}.{:03} ms", ns / 1_000_000, ns / 1000 % 1000),
        _ => format!("{}.{:06} s", ns / 1_000_000_000, ns / 1000 % 1_000_000),
    }
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
    fn names_are_shortened_in_their_middle() {
        assert_eq!(shortened("WEIR256T-I/SN", 9), "WEIR…I/SN");
        assert_eq!([shortened("größer", 6), shortened("größer", 4), shortened("ab", 1)], ["größer", "gr…r", "…"]);
    }

    #[test]
    fn no_two_names_get_one_stem() {
        let names = ["Weir A", "weir-a", "Weir A 2", "§"].map(str::to_owned);
        assert_eq!(stems(&names, "board"), ["weir-a", "weir-a-2", "weir-a-2-2", "board"]);
    }

    #[test]
    fn times_have_a_unit_that_reads_well() {
        let times = [1.375, 311_700.0, 999_600.0, 2_133_451.375, 200e6, 240e6, 3.9e9, 86_400e6];
        let expected = ["1.38 us", "312 ms", "1 s", "2.13 s", "3 min 20 s", "4 min", "65 min", "24 h 0 min"];
        assert_eq!(times.map(duration), expected);
        assert_eq!([1375, 311_702_500, 2_133_451_375].map(moment), ["1.375 us", "311.702 ms", "2.133451 s"]);
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

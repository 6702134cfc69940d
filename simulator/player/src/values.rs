//! Values of a lesson that are each student's own, drawn from the name.
//!
//! `{0..15}` in the text of a lesson stands for the first sixteen bytes of the student's own, `{16}` for the next one. They
//! count upwards from a start that follows from the name, so that a range of them is a range in a program: `5A..69`.

use alloc::format;
use alloc::string::String;

/// Bytes that a lesson may ask for; their values then stay below 0xF0, and differ from erased memory.
pub const MOST: u32 = 96;

/// The number that a name stands for: capitals and blanks around it do not count.
#[must_use]
pub fn seed_of(who: &str) -> u64 {
    let folded = who.trim().to_lowercase();
    folded
        .bytes()
        .fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3))
}

/// The first of a student's bytes.
#[must_use]
pub fn first_byte(seed: u64) -> u8 {
    // The lowest bits of such a hash are its weakest.
    0x11 + ((seed >> 32 ^ seed >> 13) % 0x7F) as u8
}

/// The text with the student's values in place of `{..}`. What is not a place for values stays as it is.
#[must_use]
pub fn filled(text: &str, seed: u64) -> String {
    let first = first_byte(seed);
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(open) = rest.find('{') {
        out.push_str(&rest[..open]);
        let Some(close) = rest[open..].find('}').map(|at| open + at) else {
            rest = &rest[open..];
            break;
        };
        let inside = &rest[open + 1..close];
        match range(inside) {
            Some((from, to)) if from == to => out.push_str(&format!("{:02X}", first.wrapping_add(from))),
            Some((from, to)) => {
                out.push_str(&format!("{:02X}..{:02X}", first.wrapping_add(from), first.wrapping_add(to)))
            }
            None => out.push_str(&rest[open..=close]),
        }
        rest = &rest[close + 1..];
    }
    out.push_str(rest);
    out
}

fn range(inside: &str) -> Option<(u8, u8)> {
    let number = |text: &str| text.parse::<u8>().ok().filter(|value| u32::from(*value) < MOST);
    match inside.split_once("..") {
        Some((from, to)) => number(from).zip(number(to)).filter(|(from, to)| from <= to),
        None => number(inside).map(|at| (at, at)),
    }
}

#[cfg(test)]
mod tests {
    use alloc::string::ToString;

    use super::*;

    #[test]
    fn values_follow_from_the_name_and_count_upwards() {
        let text = "S 50W 00 {0..47} {3} P {x} {9..2} {";
        let (ada, ben) = (filled(text, seed_of("Ada")), filled(text, seed_of("Ben")));
        assert_eq!(ada, filled(text, seed_of(" ada ")));
        assert_ne!(ada, ben);
        let first = first_byte(seed_of("Ada"));
        assert_eq!(ada, format!("S 50W 00 {first:02X}..{:02X} {:02X} P {{x}} {{9..2}} {{", first + 47, first + 3));
        assert!((0..5000).all(|seed| (0x11..0x90).contains(&first_byte(seed_of(&seed.to_string())))));
    }
}

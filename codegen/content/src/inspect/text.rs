//! Texts in what no format explains.

use std::collections::BTreeSet;

use super::{Certainty, Content, Found, found};

/// Shorter ones come about by chance: eight bytes are all printable about once in 2600 random places.
const SHORTEST: usize = 8;

/// Texts told of one dump; a dump that is one long listing has them all in one.
const MOST: usize = 200;

/// Whether a byte stands in texts: printable ASCII, tab, line ends.
pub(super) const fn printable(byte: u8) -> bool {
    matches!(byte, 0x20..=0x7E | b'\t' | b'\n' | b'\r')
}

/// Stretches of printable ASCII.
pub(super) fn find(block: &[u8], explained: &[bool]) -> Vec<Found> {
    let mut all = Vec::new();
    let mut from = None;
    for at in 0..=block.len() {
        let inside = at < block.len() && !explained[at] && printable(block[at]);
        match (inside, from) {
            (true, None) => from = Some(at),
            (false, Some(start)) => {
                from = None;
                all.extend(one(&block[start..at], start));
            }
            _ => {}
        }
        if all.len() == MOST {
            break;
        }
    }
    all
}

fn one(bytes: &[u8], at: usize) -> Option<Found> {
    let text = String::from_utf8_lossy(bytes).trim().to_owned();
    // Numbers are now and then printable for a while, but mostly signs; a fill of one character is not text either.
    let words = text.chars().filter(|c| c.is_ascii_alphanumeric() || *c == ' ').count();
    let kinds: BTreeSet<char> = text.chars().collect();
    if text.len() < SHORTEST || 4 * words < 3 * text.len() || kinds.len() < 3 {
        return None;
    }
    let sure = match text.len() {
        0..12 => Certainty::Possible,
        12..20 => Certainty::Likely,
        _ => Certainty::Certain,
    };
    let because = format!("{} printable characters", bytes.len());
    Some(found(Content::Text { text }, at, bytes.len(), sure, because))
}

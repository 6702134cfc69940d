//! At which multiples transfers that go on are cut.

use std::collections::{BTreeMap, BTreeSet};

use crate::property::{At, Certainty, Moments};

/// Lengths and places that are kept.
const KEPT: usize = 2048;

/// Transfers that follow each other.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cuts {
    /// Where the last one ended, how long it was, and when.
    last: Option<(u64, u32, At)>,
    /// One more than the highest bit of a boundary that a transfer crossed.
    crossed: u32,
    longest: u32,
    pub(crate) count: u64,
    /// Ends at which the next transfer went on, by the length of the one before.
    ends: BTreeMap<u32, BTreeSet<(u64, At)>>,
}

/// A page or block at whose ends transfers are cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Cut {
    pub(crate) bytes: u32,
    pub(crate) sure: Certainty,
    pub(crate) moments: Moments,
    pub(crate) why: String,
}

impl Cuts {
    /// A transfer of `len` bytes from `place`, which counts on through blocks.
    pub(crate) fn add(&mut self, place: u64, len: u32, at: At) {
        self.count += 1;
        self.longest = self.longest.max(len);
        let differing = (place ^ (place + u64::from(len) - 1)) as u32;
        self.crossed = self.crossed.max(32 - differing.leading_zeros());
        if let Some((end, before, _)) = self.last
            && end == place
            && self.ends.len() < KEPT
        {
            let ends = self.ends.entry(before).or_default();
            if ends.len() < KEPT && !ends.iter().any(|(known, _)| *known == place) {
                ends.insert((place, at));
            }
        }
        self.last = Some((place + u64::from(len), len, at));
    }

    /// Time passes, or something else happens: the next transfer does not go on.
    pub(crate) fn interrupt(&mut self) {
        self.last = None;
    }

    /// No page is smaller: a transfer lay across each smaller boundary.
    pub(crate) fn at_least(&self) -> u32 {
        1_u32.checked_shl(self.crossed).unwrap_or(u32::MAX)
    }

    /// The limit of a transfer: the longest ones went on from places that are not page ends, since others lay across
    /// smaller boundaries.
    pub(crate) fn limit(&self) -> Option<(u32, Moments)> {
        let ends = self.ends.get(&self.longest)?;
        let no_page_end = |place: &u64| !place.is_multiple_of(u64::from(self.at_least()));
        let odd: Vec<At> = ends.iter().filter(|(place, _)| no_page_end(place)).map(|(_, at)| *at).collect();
        (odd.len() >= 2).then(|| (self.longest, moments(odd)))
    }

    /// Where transfers are cut.
    ///
    /// A transfer shorter than the longest one that goes on was cut for a reason: the end of a page, or the end of what
    /// was to be sent. The second kind lies anywhere; the first kind at multiples that no transfer crosses.
    pub(crate) fn cut(&self) -> Option<Cut> {
        let at_least = u64::from(self.at_least());
        let on = |ends: &BTreeSet<(u64, At)>| -> Vec<(u64, At)> {
            ends.iter().filter(|(place, _)| place % at_least == 0 && *place > 0).copied().collect()
        };
        let short: Vec<(u64, At)> = self.ends.range(..self.longest).flat_map(|(_, ends)| on(ends)).collect();
        let full: Vec<(u64, At)> = self.ends.get(&self.longest).map(on).unwrap_or_default();
        if self.longest == 1 {
            let sure = if full.len() >= 8 { Certainty::Likely } else { Certainty::Guess };
            let why = "every transfer carries one byte".to_owned();
            return (!full.is_empty()).then(|| Cut { bytes: 1, sure, moments: ats(&full), why });
        }
        if !short.is_empty() {
            return Some(by_short(&short, at_least));
        }
        let bytes = multiple(&full)?;
        let whole = self.longest.is_power_of_two() && bytes == u64::from(self.longest);
        let sure = if whole && full.len() >= 3 { Certainty::Likely } else { Certainty::Guess };
        let why = format!("transfers of {} bytes follow each other from multiples of {bytes}", self.longest);
        let bytes = if whole { self.longest } else { u32::try_from(bytes).unwrap_or(u32::MAX) };
        Some(Cut { bytes, sure, moments: ats(&full), why })
    }
}

fn by_short(short: &[(u64, At)], at_least: u64) -> Cut {
    let bytes = multiple(short).unwrap_or(at_least);
    let odd: Vec<(u64, At)> = short.iter().filter(|(place, _)| place % (2 * bytes) != 0).copied().collect();
    let sure = match (bytes == at_least, odd.len(), short.len()) {
        (true, 3.., _) => Certainty::Shown,
        (true, 2, 3..) | (false, 3.., 5..) => Certainty::Likely,
        _ => Certainty::Guess,
    };
    let crossed =
        if at_least > 1 { format!(", and transfers cross multiples of {}", at_least / 2) } else { String::new() };
    let why = format!("{} transfers are cut short at multiples of {bytes} and go on{crossed}", short.len());
    Cut { bytes: u32::try_from(bytes).unwrap_or(u32::MAX), sure, moments: ats(short), why }
}

/// The largest power of two that divides all places.
fn multiple(places: &[(u64, At)]) -> Option<u64> {
    places.iter().map(|(place, _)| 1_u64 << place.trailing_zeros().min(31)).min()
}

fn ats(places: &[(u64, At)]) -> Moments {
    moments(places.iter().map(|(_, at)| *at).collect())
}

fn moments(mut all: Vec<At>) -> Moments {
    all.sort();
    let mut moments = Moments::default();
    all.into_iter().for_each(|at| moments.add(at));
    moments
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut_of(transfers: &[(u64, u32)]) -> Option<(u32, Certainty)> {
        let mut cuts = Cuts::default();
        for (i, (place, len)) in transfers.iter().enumerate() {
            cuts.add(*place, *len, At { file: 0, ns: i as u64 });
        }
        cuts.cut().map(|cut| (cut.bytes, cut.sure))
    }

    #[test]
    fn page_ends_are_told_from_limits_and_from_ends_of_data() {
        assert_eq!(cut_of(&[(3, 8)]), None, "nothing went on");
        let short = [(3, 13), (16, 16), (100, 12), (112, 16), (40, 8), (48, 16), (64, 5)];
        assert_eq!(cut_of(&short), Some((16, Certainty::Shown)));
        let limited = [(3, 8), (11, 5), (16, 8), (24, 8), (32, 8), (44, 4), (48, 8), (76, 4), (80, 8)];
        assert_eq!(cut_of(&limited), Some((16, Certainty::Shown)));
        assert_eq!(cut_of(&[(0, 16), (16, 16), (32, 16), (48, 16)]), Some((16, Certainty::Likely)));
        assert_eq!(cut_of(&[(0, 16), (16, 4)]), Some((16, Certainty::Guess)));
        let bytes: Vec<(u64, u32)> = (0..12).map(|i| (i, 1)).collect();
        assert_eq!(cut_of(&bytes), Some((1, Certainty::Likely)));
    }
}

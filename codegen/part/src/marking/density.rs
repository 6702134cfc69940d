//! What the digits of a code count.
//!
//! In the 24 family they count kilobits (32, 64; 08 for 8; 01 for 1): common practice, no source; every card that is
//! named so agrees. Digits that count otherwise (65, 1025, 025) are known from cards only. An M beside them counts
//! megabits. In the 25 family makers of EEPROMs count kilobits and makers of flash megabits, so both stand. Digits of the
//! 93 family count neither.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::Serialize;

use super::Certainty;
use super::family::{Anatomy, Family, FamilyClaim, Stems};
use super::matched::Match;
use super::text::Code;
use crate::card::{Catalogue, density};

/// A density that a code may have.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Density {
    /// Bytes.
    pub bytes: u32,
    /// Kilobits; a fraction below 1 kbit.
    #[serde(serialize_with = "kilobits")]
    #[schemars(with = "f64")]
    pub kilobits: u32,
    /// Both ways of saying it.
    pub words: String,
    /// The piece of the text that says so.
    pub said_by: String,
    /// How sure that is.
    pub sure: Certainty,
    /// Why.
    pub because: String,
}

/// Written as kilobits, from bytes.
fn kilobits<S: serde::Serializer>(bytes: &u32, serializer: S) -> Result<S::Ok, S::Error> {
    match bytes % 128 {
        0 => serializer.serialize_u32(bytes / 128),
        _ => serializer.serialize_f64(f64::from(*bytes) / 128.0),
    }
}

impl Density {
    fn new(bytes: u32, said_by: &str, sure: Certainty, because: String) -> Self {
        Self { bytes, kilobits: bytes, words: density(bytes), said_by: said_by.to_owned(), sure, because }
    }
}

/// Digits that count kilobits in every card named so: the trade's densities.
const KILOBITS: [(&str, u32); 11] = [
    ("01", 1),
    ("02", 2),
    ("04", 4),
    ("08", 8),
    ("16", 16),
    ("32", 32),
    ("64", 64),
    ("128", 128),
    ("256", 256),
    ("512", 512),
    ("1024", 1024),
];

/// Digits beside an M.
const MEGABITS: [(&str, u32); 6] = [("01", 1), ("02", 2), ("04", 4), ("1", 1), ("2", 2), ("4", 4)];

fn listed(table: &[(&str, u32)], digits: &str) -> Option<u32> {
    table.iter().find(|(known, _)| *known == digits).map(|(_, count)| *count)
}

/// Digits that cards use otherwise: bytes and one card that does.
#[derive(Debug)]
pub struct Table {
    cards: BTreeMap<String, BTreeMap<u32, String>>,
}

impl Table {
    /// Collects them from the order codes of a catalogue.
    #[must_use]
    pub fn of(catalogue: &Catalogue, stems: &Stems) -> Self {
        let mut by_stem: BTreeMap<(String, String), BTreeMap<u32, String>> = BTreeMap::new();
        for card in catalogue.parts() {
            let Some(code) = Code::of(&card.name) else { continue };
            let Some(anatomy) = stems.split(&code) else { continue };
            let ruled = by_rule(&anatomy).iter().any(|(bytes, _)| *bytes == card.capacity_bytes.value);
            // Digits that count kilobits in every other name do not count otherwise for the one that breaks the rule.
            let usual = listed(&KILOBITS, anatomy.digits).is_some();
            if !ruled && !usual && !anatomy.meant().is_wrong() {
                let stem = (format!("{}{}", anatomy.prefix, anatomy.letters), anatomy.digits.to_owned());
                by_stem.entry(stem).or_default().insert(card.capacity_bytes.value, card.name.clone());
            }
        }
        let mut cards: BTreeMap<String, BTreeMap<u32, String>> = BTreeMap::new();
        // Where one maker has the same digits on several densities, they count something else.
        for ((_, digits), densities) in by_stem.into_iter().filter(|(_, densities)| densities.len() == 1) {
            cards.entry(digits).or_default().extend(densities);
        }
        Self { cards }
    }
}

/// Bytes by the rules of the trade, and the rule.
fn by_rule(anatomy: &Anatomy<'_>) -> Vec<(u32, &'static str)> {
    const KBIT: u32 = 128;
    const MBIT: u32 = 131_072;
    let digits = anatomy.digits;
    let mut found = Vec::new();
    if anatomy.letters.ends_with('M') {
        found.extend(listed(&MEGABITS, digits).map(|count| (count * MBIT, "an M before the digits counts megabits")));
    } else {
        found.extend(listed(&KILOBITS, digits).map(|count| (count * KBIT, "the digits count kilobits")));
    }
    if anatomy.next == Some('M') {
        found.extend(listed(&MEGABITS, digits).map(|count| (count * MBIT, "an M after the digits counts megabits")));
    }
    found
}

/// The densities that a code may have.
pub(super) fn claims(
    table: &Table,
    anatomy: Option<&Anatomy<'_>>,
    matches: &[Match],
    families: &[FamilyClaim],
) -> Vec<Density> {
    let mut claims: Vec<Density> = Vec::new();
    let mut claim = |new: Density| {
        match claims.iter_mut().find(|known| known.bytes == new.bytes) {
            // The surer reason stays.
            Some(known) if known.sure < new.sure => *known = new,
            Some(_) => {}
            None => claims.push(new),
        }
    };
    let best = matches.iter().map(|found| found.sure).max();
    for found in matches.iter().filter(|found| Some(found.sure) == best) {
        claim(Density::new(found.bytes, &found.said_by, found.sure, format!("as the card {}", found.id)));
    }
    if let Some(anatomy) = anatomy
        && best.unwrap_or(Certainty::Possible) == Certainty::Possible
    {
        for new in by_digits(table, anatomy, families) {
            claim(new);
        }
    }
    // What one reading says may be likely; two readings are possible both.
    if claims.len() > 1 {
        claims
            .iter_mut()
            .filter(|claim| claim.sure != Certainty::Certain)
            .for_each(|claim| claim.sure = Certainty::Possible);
    }
    claims.sort_by_key(|claim| (std::cmp::Reverse(claim.sure), claim.bytes));
    claims
}

fn by_digits(table: &Table, anatomy: &Anatomy<'_>, families: &[FamilyClaim]) -> Vec<Density> {
    let digits = anatomy.digits;
    let no_source = |rule: &str| format!("{rule} (common practice, no source)");
    let family = anatomy.meant();
    match family {
        Family::ThreeWire => return Vec::new(),
        Family::Spi => {
            let count = listed(&KILOBITS, digits);
            let kbit = count.map(|count| (count * 128, "an EEPROM counts kilobits"));
            let mbit = count.filter(|count| *count <= 512).map(|count| (count * 131_072, "a flash counts megabits"));
            let both = kbit.into_iter().chain(mbit);
            return both.map(|(bytes, why)| Density::new(bytes, digits, Certainty::Possible, no_source(why))).collect();
        }
        _ => {}
    }
    let sure = families.iter().find(|claim| claim.family == family).map_or(Certainty::Possible, |claim| claim.sure);
    let sure = sure.min(Certainty::Likely);
    let ruled = by_rule(anatomy);
    let mut found: Vec<Density> =
        ruled.iter().map(|(bytes, why)| Density::new(*bytes, digits, sure, no_source(why))).collect();
    if family == Family::I2cEeprom {
        let carded = table.cards.get(digits).into_iter().flatten();
        found.extend(carded.map(|(bytes, name)| {
            Density::new(
                *bytes,
                digits,
                Certainty::Possible,
                format!("`{digits}` stands for it in {name}; makers may differ"),
            )
        }));
    }
    found
}

/// What one has to know about the digits.
pub(super) fn remark(anatomy: &Anatomy<'_>, densities: &[Density]) -> Option<String> {
    let distinct: BTreeSet<u32> = densities.iter().map(|density| density.bytes).collect();
    if anatomy.meant() == Family::ThreeWire {
        return Some(format!("`{}`: the digits of the 93 family count no kilobits and are not read", anatomy.digits));
    }
    match distinct.len() {
        0 => Some(format!("`{}` is not a density that a card or the trade's rule knows", anatomy.digits)),
        1 => None,
        _ => Some("the density is ambiguous: the marking does not settle it".to_owned()),
    }
}

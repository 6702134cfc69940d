//! Families: what the two digits after the maker's letters say.
//!
//! 24 is the I2C EEPROM, 25 is SPI, 23 serial SRAM, 93 three-wire: facts of the trade, common practice, no source. That 34
//! is the I2C EEPROM with software protection, and which letters stand around 24, is read from the cards.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::Serialize;

use super::Certainty;
use super::matched::Match;
use super::text::{Code, key};
use crate::card::{Catalogue, Kind};

/// A family of serial memories.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, JsonSchema, Serialize)]
pub enum Family {
    /// I2C EEPROM: 24, 34, and the codes of cards that are named otherwise.
    #[serde(rename = "i2c-eeprom")]
    I2cEeprom,
    /// I2C FRAM.
    #[serde(rename = "i2c-fram")]
    I2cFram,
    /// SPI EEPROM or flash: 25.
    #[serde(rename = "spi-memory")]
    Spi,
    /// Serial SRAM on SPI: 23.
    #[serde(rename = "serial-sram")]
    SerialSram,
    /// Three-wire EEPROM: 93.
    #[serde(rename = "three-wire-eeprom")]
    ThreeWire,
    /// FRAM on SPI.
    #[serde(rename = "spi-fram")]
    SpiFram,
}

impl Family {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::I2cEeprom => "24: serial EEPROM on I2C",
            Self::I2cFram => "FRAM on I2C",
            Self::Spi => "25: EEPROM or flash on SPI",
            Self::SerialSram => "23: serial SRAM on SPI",
            Self::ThreeWire => "93: EEPROM on three wires",
            Self::SpiFram => "FRAM on SPI",
        }
    }

    /// Whether it cannot take the place of an I2C EEPROM however the board is set.
    #[must_use]
    pub const fn is_wrong(self) -> bool {
        !matches!(self, Self::I2cEeprom | Self::I2cFram)
    }

    /// Why it is no I2C EEPROM; empty for one.
    #[must_use]
    pub const fn why_not(self) -> &'static str {
        match self {
            Self::I2cEeprom => "",
            Self::I2cFram => "it writes at once and has no pages and no write cycle; on the bus it is an I2C memory",
            Self::Spi => {
                "another bus: chip select, clock and two data lines; nobody answers on I2C, and a flash erases before \
                 it writes"
            }
            Self::SerialSram => "another bus, and it forgets everything without supply; nobody answers on I2C",
            Self::ThreeWire => "another bus: chip select, clock, data in and data out; nobody answers on I2C",
            Self::SpiFram => "another bus: chip select, clock and two data lines; nobody answers on I2C",
        }
    }
}

/// A family that a code may be of.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct FamilyClaim {
    /// The family.
    pub family: Family,
    /// How sure that is.
    pub sure: Certainty,
    /// Why.
    pub because: String,
}

/// A code split at its family digits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Anatomy<'t> {
    /// What stands before the family, as in the text: the maker's letters.
    pub prefix: &'t str,
    /// The family digits, such as `24`.
    pub family: &'static str,
    /// Letters between family and digits, upper case.
    pub letters: String,
    /// The digits that count the density.
    pub digits: &'t str,
    /// The letter after the digits, where it stands directly behind them.
    pub next: Option<char>,
    /// Where in the key the digits end.
    pub end: usize,
    /// Prefix and letters are those of a card.
    pub known: bool,
}

/// Family digits and what they mean, and the letters that are usual around them (common practice, no source).
const FAMILIES: [(&str, Family); 6] = [
    ("24", Family::I2cEeprom),
    ("34", Family::I2cEeprom),
    ("85RC", Family::I2cFram),
    ("25", Family::Spi),
    ("23", Family::SerialSram),
    ("93", Family::ThreeWire),
];

const USUAL: [(&str, &[&str]); 3] = [
    ("25", &["AA", "LC", "C", "Q", "L", "VF", "X", "P", "D"]),
    ("23", &["A", "K", "LC", "LCV"]),
    ("93", &["AA", "LC", "C"]),
];

/// Letters of the cards before and after the family digits.
#[derive(Debug)]
pub struct Stems {
    prefixes: BTreeSet<String>,
    letters: BTreeSet<String>,
}

impl Stems {
    /// Collects them from the order codes of a catalogue.
    #[must_use]
    pub fn of(catalogue: &Catalogue) -> Self {
        let mut stems = Self { prefixes: BTreeSet::new(), letters: BTreeSet::new() };
        for card in catalogue.parts() {
            let name = key(&card.name);
            let Some((at, family)) = FAMILIES[..3].iter().filter_map(|it| Some((name.find(it.0)?, it.0))).min() else {
                continue;
            };
            let letters: String = name[at + family.len()..].chars().take_while(char::is_ascii_alphabetic).collect();
            // A maker's letters may hold digits, but a code of digits is not a prefix: PCF8582C holds no family.
            if at <= 5 {
                stems.prefixes.insert(name[..at].to_owned());
                stems.letters.insert(letters);
            }
        }
        stems
    }

    /// Splits a code at the first family digits that stand where a family stands: at the start, after the letters of a
    /// card, or after at most four letters.
    #[must_use]
    pub fn split<'t>(&self, code: &Code<'t>) -> Option<Anatomy<'t>> {
        let key = &code.key;
        let mut starts: Vec<(usize, &'static str)> = Vec::new();
        for (digits, _) in FAMILIES {
            starts.extend(key.match_indices(digits).map(|(at, _)| (at, digits)));
        }
        starts.sort_unstable();
        starts.into_iter().find_map(|(at, family)| self.split_at(code, at, family))
    }

    fn split_at<'t>(&self, code: &Code<'t>, at: usize, family: &'static str) -> Option<Anatomy<'t>> {
        let key = &code.key;
        let prefix = &key[..at];
        let known_prefix = self.prefixes.contains(prefix);
        let plain = prefix.len() <= 4 && prefix.bytes().all(|byte| byte.is_ascii_uppercase());
        if !known_prefix && !plain {
            return None;
        }
        let after = &key[at + family.len()..];
        let letters: String = after.chars().take_while(char::is_ascii_alphabetic).take(5).collect();
        let from = at + family.len() + letters.len();
        let mut end = from;
        let bytes = key.as_bytes();
        while end < key.len() && bytes[end].is_ascii_digit() && (end == from || !code.is_parted_before(end)) {
            end += 1;
        }
        // The family alone says nothing, and no maker puts four letters after it.
        if end == from || letters.len() > 4 {
            return None;
        }
        let wrong = FAMILIES.iter().any(|(digits, meant)| *digits == family && meant.is_wrong());
        let usual = USUAL.iter().find(|(digits, _)| *digits == family).map_or(&[][..], |(_, letters)| letters);
        // 2512 is a resistor's size and 9310 anything: other families are read with letters only.
        if wrong && letters.is_empty() {
            return None;
        }
        let known =
            if wrong { usual.contains(&letters.as_str()) } else { known_prefix && self.letters.contains(&letters) };
        let next = bytes.get(end).filter(|byte| byte.is_ascii_uppercase() && !code.is_parted_before(end));
        Some(Anatomy {
            prefix: code.shown(0, at),
            family,
            letters,
            digits: code.shown(from, end),
            next: next.map(|byte| char::from(*byte)),
            end,
            known,
        })
    }
}

impl Anatomy<'_> {
    /// No letter before the digits: a date code looks the same.
    #[must_use]
    pub fn is_bare(&self) -> bool {
        self.prefix.is_empty() && self.letters.is_empty()
    }

    /// What the family digits mean.
    #[must_use]
    pub fn meant(&self) -> Family {
        let fram = key(self.prefix) == "FM" && self.family == "25" || key(self.prefix) == "MB" && self.family == "85RS";
        if fram {
            return Family::SpiFram;
        }
        FAMILIES.iter().find(|(digits, _)| *digits == self.family).map_or(Family::I2cEeprom, |(_, family)| *family)
    }
}

/// The families that a code may be of.
pub(super) fn claims(
    code: &Code<'_>,
    anatomy: Option<&Anatomy<'_>>,
    matches: &[Match],
    stems: &Stems,
) -> Vec<FamilyClaim> {
    let mut claims: Vec<FamilyClaim> = Vec::new();
    let mut claim = |family, sure, because: String| {
        match claims.iter_mut().find(|known| known.family == family) {
            // The surer reason stays.
            Some(known) if known.sure < sure => *known = FamilyClaim { family, sure, because },
            Some(_) => {}
            None => claims.push(FamilyClaim { family, sure, because }),
        }
    };
    for found in matches {
        let family = if found.kind == Kind::Fram { Family::I2cFram } else { Family::I2cEeprom };
        claim(family, found.sure, format!("as the card {}", found.id));
    }
    let Some(anatomy) = anatomy else { return claims };
    let family = anatomy.meant();
    let digits = anatomy.family;
    if family.is_wrong() || family == Family::I2cFram {
        let sure = if anatomy.known { Certainty::Likely } else { Certainty::Possible };
        claim(family, sure, format!("`{digits}` after the maker's letters (common practice, no source)"));
    } else if key(anatomy.prefix) == "FM" {
        // swap-differences of the published sheets: one order code is used for an EEPROM and for a FRAM.
        let why = "`FM24`: one order code is used for an EEPROM and for a FRAM, by two makers";
        claim(Family::I2cFram, Certainty::Possible, why.to_owned());
        claim(Family::I2cEeprom, Certainty::Possible, why.to_owned());
    } else if anatomy.known && !anatomy.is_bare() {
        claim(family, Certainty::Likely, format!("`{digits}` between letters that published order codes have there"));
    } else if anatomy.is_bare() {
        claim(family, Certainty::Possible, format!("`{}` may be an abbreviated order code, or a date", code.text));
    } else {
        let seen = stems.prefixes.contains(&key(anatomy.prefix));
        let what = if seen { &anatomy.letters } else { anatomy.prefix };
        claim(
            family,
            Certainty::Possible,
            format!("`{digits}` may be the family; `{what}` is in no order code of a card"),
        );
    }
    claims.sort_by_key(|claim| std::cmp::Reverse(claim.sure));
    claims
}

/// What one has to know about a family.
pub(super) fn remark(anatomy: &Anatomy<'_>) -> Option<String> {
    let family = anatomy.meant();
    match family {
        Family::I2cEeprom => None,
        _ => Some(family.why_not().to_owned()),
    }
}

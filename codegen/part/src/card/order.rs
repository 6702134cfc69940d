//! Order codes: what the pieces behind the name of a part mean, read to the end.

use std::collections::BTreeMap;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Card, Footprint, Package, Packages};
use crate::fact::Fact;
use crate::marking::text::{Code, key};

/// A piece of an order code.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderPiece {
    /// The piece as the sheet prints it; hyphens and strokes do not count, a small letter stands for any character.
    #[schemars(regex(pattern = r"\S"), example = &"SN")]
    pub piece: String,
    /// The package that it means.
    pub package: Option<Footprint>,
    /// Lowest operating temperature in degrees Celsius that it means.
    #[schemars(range(min = -65, max = 25))]
    pub min_c: Option<i32>,
    /// Highest operating temperature in degrees Celsius that it means.
    #[schemars(range(min = 40, max = 200))]
    pub max_c: Option<i32>,
    /// Lowest supply in volts that it means.
    #[schemars(range(min = 0.5, max = 7))]
    pub min_v: Option<f64>,
    /// Highest supply in volts that it means.
    #[schemars(range(min = 0.5, max = 7))]
    pub max_v: Option<f64>,
    /// Piece and package were paired by the order of two lists, not by a table.
    #[serde(default)]
    pub by_place: bool,
    /// What else it means.
    #[schemars(regex(pattern = r"\S"))]
    pub note: Option<String>,
    /// The maker's other part in whose sheet it was read.
    #[serde(skip)]
    pub read_of: Option<String>,
}

impl OrderPiece {
    /// How many characters of a code it takes at its beginning, if it stands there.
    fn taken(&self, code: &str) -> Option<usize> {
        let piece = || self.piece.chars().filter(char::is_ascii_alphanumeric);
        let fits = |(piece, found): (char, char)| piece.is_ascii_lowercase() || piece == found;
        let length = piece().count();
        (length > 0 && code.len() >= length && piece().zip(code.chars()).all(fits)).then_some(length)
    }

    /// What a part's sheet says of packages, as the sheet of another part of the maker may be read: by place.
    fn of_sibling(&self, part: &Card) -> Option<Self> {
        let package_alone = self.package.is_some() && self.min_c.is_none() && self.max_c.is_none();
        let alone = package_alone && self.min_v.is_none() && self.max_v.is_none();
        alone.then(|| Self { by_place: true, read_of: Some(part.name.clone()), ..self.clone() })
    }
}

/// What the pieces of a maker's order codes mean in more than one sheet, or in the only one that has them: each where no two
/// sheets disagree.
pub(super) fn of_makers<'c>(parts: impl Iterator<Item = &'c Card>) -> BTreeMap<String, Vec<OrderPiece>> {
    let mut all: BTreeMap<String, Vec<OrderPiece>> = BTreeMap::new();
    for part in parts {
        let known = all.entry(part.maker.clone()).or_default();
        known.extend(part.order_pieces.iter().filter_map(|piece| piece.of_sibling(part)));
    }
    for pieces in all.values_mut() {
        let said = pieces.clone();
        pieces.retain(|piece| {
            said.iter().all(|other| key(&other.piece) != key(&piece.piece) || other.package == piece.package)
        });
        pieces.sort_by_key(|piece| key(&piece.piece));
        pieces.dedup_by_key(|piece| key(&piece.piece));
    }
    all
}

/// Common practice, no source: a `T` behind the name, or at the end, is tape and reel.
const REEL: &str = "T";

/// No published order code has more pieces: package, grade, supply, plating, packing and the like.
const MOST: usize = 6;

/// What every order code of a part begins with: its names, or what stands before their last hyphen.
pub(super) fn stems(card: &Card) -> Vec<String> {
    let name = card.name.split(" (").next().unwrap_or(&card.name);
    let names = card.members.iter().map(String::as_str).chain([name]);
    names.map(|name| key(name.rsplit_once('-').map_or(name, |(base, _)| base))).collect()
}

/// An order code as an identifier: `24LC64-I/SN` is `24lc64-i-sn`.
pub(super) fn identifier(text: &str) -> String {
    let text = text.trim().to_lowercase();
    text.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
}

impl Card {
    /// The card of an order code that begins with this part's name: its package and temperature are those of the code.
    /// `None` where a piece of the code is not known. A letter straight behind the name that is not a known piece is a
    /// revision, or belongs to the name of another part.
    #[must_use]
    pub fn ordered(&self, text: &str) -> Option<Self> {
        let name = self.name.split(" (").next().unwrap_or(&self.name);
        let names = self.members.iter().map(String::as_str).chain([name]);
        names.filter_map(|name| self.ordered_by(name, text)).next()
    }

    /// With the pieces that a maker's other sheets explain, where its own does not.
    pub(super) fn explained(&self, siblings: &[OrderPiece]) -> Self {
        let own: Vec<String> = self.order_pieces.iter().map(|piece| key(&piece.piece)).collect();
        let more = siblings.iter().filter(|piece| !own.contains(&key(&piece.piece)));
        let order_pieces = Arc::new(self.order_pieces.iter().chain(more).cloned().collect());
        Self { order_pieces, ..self.clone() }
    }

    fn ordered_by(&self, name: &str, text: &str) -> Option<Self> {
        let code = Code::of(text)?;
        if self.order_pieces.is_empty() {
            return None;
        }
        let pieces = self.behind(name, &code).or_else(|| self.inside(name, &code))?;
        let (id, order_of) = (identifier(text), Some(self.id.clone()));
        let mut card = Self { id, name: text.trim().to_owned(), order_of, ..self.clone() };
        card.unmeasured = self.unmeasured.as_ref().and_then(|promised| promised.ordered_by(name, text)).map(Box::new);
        for piece in pieces {
            if let Some(footprint) = piece.package {
                card.only_in(footprint, piece);
            }
            let fact = |value: i32| Fact { value, basis: self.packages.basis.clone() };
            let mv = |volts: f64| Fact { value: (volts * 1000.0).round() as u32, basis: self.packages.basis.clone() };
            card.read_min_mv = piece.min_v.map_or(card.read_min_mv, mv);
            card.write_min_mv = piece.min_v.map_or(card.write_min_mv, mv);
            card.max_mv = piece.max_v.map_or(card.max_mv, mv);
            card.temperature_min_c = piece.min_c.map_or(card.temperature_min_c, fact);
            card.temperature_max_c = piece.max_c.map_or(card.temperature_max_c, fact);
        }
        let range = card.temperatures();
        Some(card.at_temperatures(range))
    }

    /// Whether a text straight behind the name of the part can be a piece of its order code; other letters there are a
    /// revision, or belong to the name of another part.
    #[must_use]
    pub fn may_go_on(&self, rest: &str) -> bool {
        let known = |piece: &OrderPiece| piece.taken(rest).is_some();
        rest.is_empty() || rest.starts_with(REEL) || self.order_pieces.iter().any(known)
    }

    /// The pieces that stand behind the name.
    fn behind(&self, name: &str, code: &Code<'_>) -> Option<Vec<&OrderPiece>> {
        let begin = key(name).len();
        let rest = code.key.strip_prefix(&key(name)).filter(|_| code.ends_at(begin))?;
        // Straight behind the density a letter that could be a grade is a revision all the same.
        let is_grade = |piece: &&OrderPiece| piece.package.is_none() && piece.min_c.is_some() && piece.piece.len() == 1;
        // So is one that only the sheets of other parts explain.
        let is_others = |piece: &&OrderPiece| piece.read_of.is_some() && key(&piece.piece).len() == 1;
        let is_letter = |piece: &&OrderPiece| is_grade(piece) || is_others(piece);
        let revised = |pieces: &Vec<&OrderPiece>| pieces.first().is_some_and(is_letter);
        self.pieces(rest).filter(|pieces| code.is_parted_before(begin) || !revised(pieces))
    }

    /// The pieces that stand inside the name, before the version behind its last hyphen: `BR24G128FJ-3A` is a BR24G128-3A.
    fn inside(&self, name: &str, code: &Code<'_>) -> Option<Vec<&OrderPiece>> {
        let (base, version) = name.rsplit_once('-').map(|(base, version)| (key(base), key(version)))?;
        let rest = code.key.strip_prefix(&base).filter(|_| !version.is_empty() && code.ends_at(base.len()))?;
        rest.match_indices(&version).find_map(|(at, _)| {
            let (inside, behind) = (self.pieces(&rest[..at])?, self.pieces(&rest[at + version.len()..])?);
            (at > 0 && code.is_parted_before(base.len() + at)).then(|| inside.into_iter().chain(behind).collect())
        })
    }

    /// The known pieces that a text consists of, behind a reel's letter or before one.
    fn pieces(&self, rest: &str) -> Option<Vec<&OrderPiece>> {
        self.some_pieces(rest, MOST).or_else(|| self.some_pieces(rest.strip_prefix(REEL)?, MOST))
    }

    /// At most so many pieces, longest first at each place.
    fn some_pieces(&self, rest: &str, most: usize) -> Option<Vec<&OrderPiece>> {
        if rest.is_empty() || rest == REEL {
            return Some(Vec::new());
        }
        let most = most.checked_sub(1)?;
        let mut fitting: Vec<(usize, &OrderPiece)> =
            self.order_pieces.iter().filter_map(|piece| Some((piece.taken(rest)?, piece))).collect();
        fitting.sort_by_key(|(taken, _)| std::cmp::Reverse(*taken));
        fitting.into_iter().find_map(|(taken, piece)| {
            let more = self.some_pieces(&rest[taken..], most)?;
            Some(std::iter::once(piece).chain(more).collect())
        })
    }

    /// Keeps one package: an order code is not made in another.
    fn only_in(&mut self, footprint: Footprint, piece: &OrderPiece) {
        let named = || Package::named(footprint, self.address_bits.value.map(Some));
        let package = self.package_for(footprint).cloned().unwrap_or_else(named);
        let mut package = Package { current: !piece.by_place, ..package };
        if piece.by_place {
            package.note = Some(match &piece.read_of {
                Some(part) => format!("`{}` means this package in the sheet of {part}", piece.piece),
                None => format!("`{}` and this package were paired by the order of two lists", piece.piece),
            });
        }
        self.packages = Arc::new(Packages { list: vec![package], complete: true, ..Packages::clone(&self.packages) });
    }
}

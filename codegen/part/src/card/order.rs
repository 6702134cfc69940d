//! Order codes: what the pieces behind the name of a part mean, read to the end.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Card, Footprint, Package};
use crate::fact::Fact;
use crate::marking::text::{Code, key};

/// A piece of an order code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderPiece {
    /// The piece as the sheet prints it; hyphens and strokes do not count.
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
    /// Piece and package were paired by the order of two lists, not by a table.
    #[serde(default)]
    pub by_place: bool,
    /// What else it means.
    #[schemars(regex(pattern = r"\S"))]
    pub note: Option<String>,
}

/// Common practice, no source: a `T` behind the name, or at the end, is tape and reel.
const REEL: &str = "T";

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

    fn ordered_by(&self, name: &str, text: &str) -> Option<Self> {
        let code = Code::of(text)?;
        let begin = key(name).len();
        if self.order_pieces.is_empty() || !code.key.starts_with(&key(name)) || !code.ends_at(begin) {
            return None;
        }
        let pieces = self.pieces(&code.key[begin..])?;
        let (id, order_of) = (identifier(text), Some(self.id.clone()));
        let mut card = Self { id, name: text.trim().to_owned(), order_of, ..self.clone() };
        card.unmeasured = self.unmeasured.as_ref().and_then(|promised| promised.ordered_by(name, text)).map(Box::new);
        for piece in pieces {
            if let Some(footprint) = piece.package {
                card.only_in(footprint, piece);
            }
            let fact = |value: i32| Fact { value, basis: self.packages.basis.clone() };
            card.temperature_min_c = piece.min_c.map_or(card.temperature_min_c, fact);
            card.temperature_max_c = piece.max_c.map_or(card.temperature_max_c, fact);
        }
        Some(card.at_temperatures(card.temperatures()))
    }

    /// Whether a text straight behind the name of the part can be a piece of its order code; other letters there are a
    /// revision, or belong to the name of another part.
    #[must_use]
    pub fn may_go_on(&self, rest: &str) -> bool {
        let known = |piece: &OrderPiece| rest.starts_with(&key(&piece.piece));
        rest.is_empty() || rest.starts_with(REEL) || self.order_pieces.iter().any(known)
    }

    /// The known pieces that a text consists of, longest first at each place.
    fn pieces(&self, rest: &str) -> Option<Vec<&OrderPiece>> {
        if rest.is_empty() || rest == REEL {
            return Some(Vec::new());
        }
        let mut fitting: Vec<&OrderPiece> =
            self.order_pieces.iter().filter(|piece| rest.starts_with(&key(&piece.piece))).collect();
        fitting.sort_by_key(|piece| std::cmp::Reverse(key(&piece.piece).len()));
        let read = fitting.into_iter().find_map(|piece| {
            let more = self.pieces(&rest[key(&piece.piece).len()..])?;
            Some(std::iter::once(piece).chain(more).collect())
        });
        read.or_else(|| self.pieces(rest.strip_prefix(REEL)?))
    }

    /// Keeps one package: an order code is not made in another.
    fn only_in(&mut self, footprint: Footprint, piece: &OrderPiece) {
        let Some(package) = self.package_for(footprint) else { return };
        let mut package = Package { current: !piece.by_place, ..package.clone() };
        if piece.by_place {
            let paired = format!("`{}` and this package were paired by the order of two lists", piece.piece);
            package.note = Some(paired);
        }
        self.packages.list = vec![package];
        self.packages.complete = true;
    }
}

//! Reads a marking or an order code, as it stands on a chip or in a bill of materials, and says no more than it says.
//!
//! Three things are asked: which family is it, which density, and which cards may it be. Each answer says how sure it
//! is and why. Facts of the trade without a published source are marked "common practice, no source".
//!
//! [`text`] splits a text into pieces and a piece into prefix, family, letters, digits and rest; [`family`] knows the
//! families, [`density`] what digits count, [`card`] compares with the order codes of the cards.

pub mod card;
pub mod density;
pub mod family;
mod matched;
pub mod text;

use pagewise_simulator::Hazard;
use schemars::JsonSchema;
use serde::Serialize;

use crate::card::Catalogue;
pub use density::Density;
pub use family::{Family, FamilyClaim};
pub use matched::Match;
pub use pagewise_base::certainty::Certainty;
use text::Code;

/// What one piece of a text says.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Piece {
    /// The piece as it stands in the text.
    pub code: String,
    /// Families, surest first; more than one when the code does not settle it.
    pub families: Vec<FamilyClaim>,
    /// Densities, surest first; more than one when the code does not settle it, none when it says nothing.
    pub densities: Vec<Density>,
    /// Cards, surest first.
    pub matches: Vec<Match>,
    /// What of the piece is not understood, as it stands there.
    pub not_understood: Vec<String>,
    /// What else one has to know.
    pub remarks: Vec<String>,
    /// `wrong-family` when no reading of the piece is an I2C EEPROM.
    pub hazard: Option<Hazard>,
}

/// What a text says.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Reading {
    /// The text.
    pub text: String,
    /// Its pieces that say something.
    pub pieces: Vec<Piece>,
    /// Its other words, which are not understood.
    pub not_understood: Vec<String>,
}

/// Reads markings against a catalogue.
#[derive(Debug)]
pub struct Reader<'c> {
    cards: card::Codes<'c>,
    digits: density::Table,
    stems: family::Stems,
}

impl<'c> Reader<'c> {
    /// A reader over the parts of a catalogue; generic cards are not parts.
    #[must_use]
    pub fn new(catalogue: &'c Catalogue) -> Self {
        let cards = card::Codes::of(catalogue);
        let stems = family::Stems::of(catalogue);
        let digits = density::Table::of(catalogue, &stems);
        Self { cards, digits, stems }
    }

    /// Reads one text. Never fails: what is not understood is said to be.
    #[must_use]
    pub fn read(&self, text: &str) -> Reading {
        let mut reading = Reading { text: text.to_owned(), pieces: Vec::new(), not_understood: Vec::new() };
        // An order code with spaces in it is known as a whole only.
        if let Some(piece) = Code::of(text.trim()).and_then(|code| self.whole(&code)) {
            reading.pieces.push(piece);
            return reading;
        }
        for word in text::words(text) {
            match Code::of(word).and_then(|code| self.piece(&code)) {
                Some(piece) => reading.pieces.push(piece),
                None => reading.not_understood.push(word.to_owned()),
            }
        }
        if reading.pieces.is_empty() && reading.not_understood.len() > 1 {
            self.joined(&mut reading);
        }
        reading
    }

    /// Identifier of the one card whose order code the whole text is, or begins with. `None` where words are left over,
    /// where several cards fit, and where anything less than the order code speaks for the card.
    #[must_use]
    pub fn order_code(&self, text: &str) -> Option<String> {
        let reading = self.read(text);
        let [piece] = reading.pieces.as_slice() else { return None };
        let [card] = piece.matches.as_slice() else { return None };
        let whole = reading.not_understood.is_empty() && !reading.is_wrong_family();
        (whole && card.is_order_code()).then(|| card.id.clone())
    }

    /// A text that is the order code of a card as a whole.
    fn whole(&self, code: &Code<'_>) -> Option<Piece> {
        let matches: Vec<Match> =
            self.cards.matches(code, None).into_iter().filter(|it| it.sure == Certainty::Certain).collect();
        (!matches.is_empty()).then(|| self.assemble(code, matches))
    }

    fn piece(&self, code: &Code<'_>) -> Option<Piece> {
        let anatomy = self.stems.split(code);
        let matches = self.cards.matches(code, anatomy.as_ref());
        if matches.is_empty() && anatomy.is_none() {
            return None;
        }
        let piece = self.assemble(code, matches);
        (!piece.families.is_empty()).then_some(piece)
    }

    /// Words that say nothing one by one may be one code, printed with spaces or on two lines.
    fn joined(&self, reading: &mut Reading) {
        let all = reading.not_understood.concat();
        let Some(mut piece) = Code::of(&all).and_then(|code| self.piece(&code)) else { return };
        piece.families.iter_mut().for_each(|claim| claim.sure = Certainty::Possible);
        piece.densities.iter_mut().for_each(|claim| claim.sure = Certainty::Possible);
        piece.matches.iter_mut().for_each(|claim| claim.sure = Certainty::Possible);
        piece.remarks.push("read with the spaces left out, so all of it is possible only".to_owned());
        reading.pieces.push(piece);
        reading.not_understood.clear();
    }

    fn assemble(&self, code: &Code<'_>, matches: Vec<Match>) -> Piece {
        let anatomy = self.stems.split(code);
        let families = family::claims(code, anatomy.as_ref(), &matches, &self.stems);
        let densities = density::claims(&self.digits, anatomy.as_ref(), &matches, &families);
        let (not_understood, mut remarks) = (card::rest(code, anatomy.as_ref(), &matches), Vec::new());
        if let Some(anatomy) = &anatomy {
            remarks.extend(density::remark(anatomy, &densities));
            remarks.extend(family::remark(anatomy));
        }
        let no_eeprom = families.iter().all(|claim| claim.family.is_wrong());
        Piece {
            code: code.text.to_owned(),
            hazard: (no_eeprom && !families.is_empty()).then_some(Hazard::WrongFamily),
            families,
            densities,
            matches,
            not_understood,
            remarks,
        }
    }
}

impl Reading {
    /// Whether some piece is of a family that cannot take the place of an I2C EEPROM.
    #[must_use]
    pub fn is_wrong_family(&self) -> bool {
        self.pieces.iter().any(|piece| piece.hazard.is_some())
    }
}

//! A code against the order codes of the cards.

use super::Certainty;
use super::family::Anatomy;
use super::matched::Match;
use super::text::{Code, key};
use crate::card::{Card, Catalogue};
use pagewise_base::words::listed;

/// Common practice, no source: `24C16` stands on chips of several makers.
const SHARED: &str = "24C";

/// The shortest piece of an order code that is taken for an abbreviation.
const SHORTEST: usize = 4;

struct OrderCode<'c> {
    card: &'c Card,
    /// The order code.
    key: String,
    /// The order code up to its last hyphen, and what follows, where the first still names the part.
    base: Option<(String, String)>,
}

/// The order codes of a catalogue.
pub(super) struct Codes<'c> {
    codes: Vec<OrderCode<'c>>,
    catalogue: &'c Catalogue,
}

impl std::fmt::Debug for Codes<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Codes({})", self.codes.len())
    }
}

impl<'c> Codes<'c> {
    pub(super) fn of(catalogue: &'c Catalogue) -> Self {
        Self { codes: catalogue.parts().map(OrderCode::of).collect(), catalogue }
    }

    /// The part whose order code this is, each piece of it known.
    fn read_to_the_end(&self, code: &Code<'_>) -> Option<Match> {
        let ordered = self.catalogue.find(code.text)?;
        let order = self.codes.iter().find(|order| Some(&order.card.id) == ordered.order_of.as_ref())?;
        let packages = ordered.packages.list.iter().map(|package| package.footprint.word());
        let packages = if ordered.packages.list.len() == 1 { listed(packages) } else { "any package".to_owned() };
        let (low, high) = (ordered.temperature_min_c.value, ordered.temperature_max_c.value);
        let because = format!("each piece of it is known: {packages}, {low} to {high} C");
        let shared = order.key.starts_with(SHARED);
        let sure = if shared { Certainty::Likely } else { Certainty::Certain };
        Some(Match { begins: !shared, ..order.as_match(code, code.key.len(), sure, because) })
    }

    /// Cards that the code may mean, surest first.
    pub(super) fn matches(&self, code: &Code<'_>, anatomy: Option<&Anatomy<'_>>) -> Vec<Match> {
        let mut found: Vec<Match> = self.codes.iter().filter_map(|order| order.matched(code)).collect();
        if !found.iter().any(|it| it.sure == Certainty::Certain) {
            found.extend(self.read_to_the_end(code));
        }
        let best = found.iter().map(|it| (it.sure, it.covers)).max();
        if let Some(best) = best.filter(|(sure, _)| *sure > Certainty::Possible) {
            // A longer order code that fits explains more: 24AA02E48 is not a 24AA02.
            found.retain(|it| (it.sure, it.covers) == best);
        }
        if let (Some(anatomy), true) = (anatomy, found.is_empty()) {
            found = self.codes.iter().filter_map(|order| order.of_same_digits(code, anatomy)).collect();
        }
        if found.is_empty() && anatomy.is_none() {
            found = self.codes.iter().filter_map(|order| order.abbreviated(code)).collect();
        }
        // Two cards of one order code: the text does not tell which.
        let certain = found.iter().filter(|it| it.sure == Certainty::Certain).count();
        if certain > 1 {
            for it in &mut found {
                it.because = format!("{}; {certain} cards have it", it.because);
            }
        }
        found.sort_by(|a, b| (b.sure, b.covers, &a.id).cmp(&(a.sure, a.covers, &b.id)));
        found
    }
}

impl<'c> OrderCode<'c> {
    fn of(card: &'c Card) -> Self {
        let name = card.name.split(" (").next().unwrap_or(&card.name);
        // `-5xx` stands for any two characters.
        let name = name.trim_end_matches("xx");
        let base = name.rsplit_once('-').map(|(base, version)| (key(base), key(version)));
        Self { card, key: key(name), base: base.filter(|(base, _)| base.len() >= 6) }
    }

    fn as_match(&self, code: &Code<'_>, covers: usize, sure: Certainty, because: String) -> Match {
        Match {
            id: self.card.id.clone(),
            name: self.card.name.clone(),
            maker: self.card.maker.clone(),
            kind: self.card.kind,
            bytes: self.card.capacity_bytes.value,
            said_by: code.shown(0, covers).to_owned(),
            sure,
            because,
            begins: false,
            covers,
        }
    }

    fn matched(&self, code: &Code<'_>) -> Option<Match> {
        let (text, name) = (&code.key, &self.key);
        let whole = key(&self.card.name);
        if text == name || *text == whole || code.text.eq_ignore_ascii_case(&self.card.id) {
            let (sure, because) = if name.starts_with(SHARED) {
                (Certainty::Likely, "it is the card's order code, but several makers mark their chips `24C` and digits")
            } else {
                (Certainty::Certain, "it is the card's order code")
            };
            return Some(self.as_match(code, text.len(), sure, because.to_owned()));
        }
        if text.starts_with(name.as_str()) && code.ends_at(name.len()) {
            if !self.card.may_go_on(&text[name.len()..]) && !code.is_parted_before(name.len()) {
                let rest = code.shown(name.len(), text.len());
                let because = format!("it goes on with `{rest}`, which may be a revision, or another part");
                return Some(self.as_match(code, name.len(), Certainty::Possible, because));
            }
            let because = "it begins with the card's order code".to_owned();
            let begins = !name.starts_with(SHARED);
            return Some(Match { begins, ..self.as_match(code, name.len(), Certainty::Likely, because) });
        }
        if let Some((base, version)) = &self.base
            && text.starts_with(base.as_str())
            && code.ends_at(base.len())
        {
            let rest = &text[base.len()..];
            let (sure, because) = if !version.is_empty() && rest.contains(version.as_str()) {
                (
                    Certainty::Likely,
                    format!("it begins with `{base}` and `{version}` follows later, as in the order code"),
                )
            } else {
                (
                    Certainty::Possible,
                    format!("it begins with `{base}`; the card is of version `{version}`, which is not in it"),
                )
            };
            return Some(self.as_match(code, base.len(), sure, because));
        }
        None
    }

    /// The same maker's letters and the same digits, and then something else.
    fn of_same_digits(&self, code: &Code<'_>, anatomy: &Anatomy<'_>) -> Option<Match> {
        let stem = &code.key[..anatomy.end];
        let goes_on = self.key.strip_prefix(stem)?;
        let cut = goes_on.starts_with(|c: char| c.is_ascii_digit());
        let because = format!("it has the same letters and digits; the card's order code goes on with `{goes_on}`");
        (!cut && !anatomy.is_bare()).then(|| self.as_match(code, anatomy.end, Certainty::Possible, because))
    }

    /// A top mark too short to be an order code, but found inside one.
    fn abbreviated(&self, code: &Code<'_>) -> Option<Match> {
        let text = &code.key;
        let mixed =
            text.bytes().any(|byte| byte.is_ascii_digit()) && text.bytes().any(|byte| byte.is_ascii_uppercase());
        if text.len() < SHORTEST || !mixed || !names_digits(text) {
            return None;
        }
        let at = self.key.find(text.as_str()).filter(|at| *at > 0)?;
        let (name, end) = (self.key.as_bytes(), at + text.len());
        let cut = name.get(end).is_some_and(u8::is_ascii_digit) && name[end - 1].is_ascii_digit();
        let because = "it may be an abbreviated top mark of it".to_owned();
        (!cut).then(|| self.as_match(code, text.len(), Certainty::Possible, because))
    }
}

/// Whether something like a density is in it: digits after a letter, beyond the family's own two.
fn names_digits(text: &str) -> bool {
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    let family = text.find("24").or_else(|| text.find("34")).map_or(0, |_| 2);
    digits > family
}

/// What of the code is not understood: what stands after what a card or the digits explain.
pub(super) fn rest(code: &Code<'_>, anatomy: Option<&Anatomy<'_>>, matches: &[Match]) -> Vec<String> {
    let explained = matches.iter().map(|it| it.covers).max().or(anatomy.map(|anatomy| anatomy.end)).unwrap_or(0);
    let rest = code.shown(explained, code.key.len());
    let mut left = Vec::new();
    if !rest.is_empty() {
        left.push(rest.to_owned());
    }
    left
}

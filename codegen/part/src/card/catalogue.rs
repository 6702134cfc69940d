//! All cards: those embedded in the program, the user's own, and one generic card per density.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use elsa::sync::FrozenMap;

use super::{Card, Kind, generic, load, order, sample};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::words;

/// File name and text of every embedded card.
const EMBEDDED: &[(&str, &str)] = include!(concat!(env!("OUT_DIR"), "/embedded_cards.rs"));

/// Every card that the program knows, sorted by capacity, then identifier; generic cards last.
pub struct Catalogue {
    cards: Vec<Card>,
    /// Cards of order codes that were asked for.
    orders: FrozenMap<String, Box<Card>>,
}

impl std::fmt::Debug for Catalogue {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Catalogue({} cards)", self.cards.len())
    }
}

impl Clone for Catalogue {
    fn clone(&self) -> Self {
        Self { cards: self.cards.clone(), orders: FrozenMap::new() }
    }
}

impl Catalogue {
    /// The embedded cards.
    ///
    /// # Errors
    /// Faults of an embedded card; a test makes sure that there are none.
    pub fn embedded() -> Result<Self, Faults> {
        let texts = EMBEDDED.iter().map(|(file, text)| ((*file).to_owned(), (*text).to_owned()));
        Self::from_texts(texts.collect())
    }

    /// The embedded cards and the `*.toml` files of a directory.
    ///
    /// # Errors
    /// Everything that is wrong with any of the files, and identifiers used twice.
    pub fn with_directory(directory: &Path) -> Result<Self, Faults> {
        let mut texts: Vec<(String, String)> =
            EMBEDDED.iter().map(|(file, text)| ((*file).to_owned(), (*text).to_owned())).collect();
        let shown = directory.display().to_string();
        let unreadable = |file: &str, error: &std::io::Error| Faults::from(Fault::unreadable(file, error));
        let mut paths = Vec::new();
        for entry in fs::read_dir(directory).map_err(|error| unreadable(&shown, &error))? {
            let path = entry.map_err(|error| unreadable(&shown, &error))?.path();
            if path.extension().is_some_and(|extension| extension == "toml") {
                paths.push(path);
            }
        }
        paths.sort();
        if paths.is_empty() {
            return Err(
                Fault::of_file(&shown, "holds no *.toml file", "name the directory that holds your cards").into()
            );
        }
        for path in paths {
            let file = path.display().to_string();
            let text = fs::read_to_string(&path).map_err(|error| unreadable(&file, &error))?;
            texts.push((file, text));
        }
        Self::from_texts(texts)
    }

    fn from_texts(texts: Vec<(String, String)>) -> Result<Self, Faults> {
        let mut faults = Vec::new();
        let mut cards: Vec<(String, Card)> = Vec::new();
        let (samples, texts): (Vec<_>, Vec<_>) = texts.into_iter().partition(|(_, text)| sample::is_samples(text));
        for (file, text) in texts {
            match load::card(&file, &text) {
                Ok(card) => {
                    let earlier = cards.iter().find(|(_, other)| other.id == card.id);
                    let reserved = card.id.starts_with(generic::PREFIX);
                    if earlier.is_some() || reserved {
                        let line =
                            text.lines().position(|line| line.trim_start().starts_with("id")).map_or(0, |n| n + 1);
                        let other = earlier.map_or("the generic cards", |(name, _)| name);
                        faults.push(Fault {
                            file: file.clone(),
                            line,
                            field: "id".into(),
                            reason: format!("`{}` is already used by {other}", card.id),
                            remedy: "give the card an identifier of its own".into(),
                        });
                    }
                    cards.push((file, card));
                }
                Err(more) => faults.extend(more.0),
            }
        }
        let mut cards: Vec<Card> = cards.into_iter().map(|(_, card)| card).collect();
        cards.sort_by(|a, b| (a.capacity_bytes.value, &a.id).cmp(&(b.capacity_bytes.value, &b.id)));
        let generics = generic::all(&cards);
        cards.extend(generics);
        // What samples show is not what the generic cards may count on.
        let mut measured = BTreeSet::new();
        for (file, text) in samples {
            if let Err(more) = with_samples(&mut cards, &mut measured, &file, &text) {
                faults.extend(more.0);
            }
        }
        Faults(faults).or_ok(Self { cards, orders: FrozenMap::new() })
    }

    /// Every card, generic ones last.
    #[must_use]
    pub fn cards(&self) -> &[Card] {
        &self.cards
    }

    /// Cards written for a part, without the generic ones.
    pub fn parts(&self) -> impl Iterator<Item = &Card> {
        self.cards.iter().filter(|card| !card.is_generic())
    }

    /// EEPROM cards written for a part.
    pub fn eeproms(&self) -> impl Iterator<Item = &Card> {
        self.parts().filter(|card| card.kind == Kind::Eeprom)
    }

    /// The card with this identifier or order code, or of which this is a further order code, upper or lower case. For a
    /// longer order code whose pieces are all known, a card of its own: in its package, with its temperatures.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Card> {
        let wanted = name.to_lowercase();
        let named = |card: &&Card| card.id == wanted || card.name.to_lowercase() == wanted;
        let member = |card: &&Card| card.members.iter().any(|member| member.to_lowercase() == wanted);
        let whole = self.cards.iter().find(named).or_else(|| self.cards.iter().find(member));
        whole.or_else(|| self.ordered(name))
    }

    fn ordered(&self, name: &str) -> Option<&Card> {
        let wanted = order::identifier(name);
        if let Some(card) = self.orders.get(&wanted) {
            return Some(card);
        }
        // The longest name that fits: 24AA02E48 is not a 24AA02.
        let fitting = self.parts().filter_map(|part| Some((part.name.len(), part.ordered(name)?)));
        let (_, card) = fitting.max_by_key(|(length, _)| *length)?;
        Some(self.orders.insert(wanted, Box::new(card)))
    }

    /// The card of the part that a user named in `line` and `field` of `file`; 0 and nothing where they do not apply.
    ///
    /// # Errors
    /// No card is called so; the message names those that resemble it.
    pub fn named(&self, name: &str, file: &str, line: usize, field: &str) -> Result<&Card, Fault> {
        self.find(name).ok_or_else(|| {
            let lists = "`pagewise parts` lists all cards, `--cards DIR` adds your own";
            let near = self.near(name);
            let remedy =
                if near.is_empty() { lists.to_owned() } else { format!("did you mean {}? {lists}", near.join(", ")) };
            let reason = format!("no card is called `{name}`");
            Fault { file: file.to_owned(), line, field: field.to_owned(), reason, remedy }
        })
    }

    /// Identifiers that resemble `name`, nearest first.
    #[must_use]
    pub fn near(&self, name: &str) -> Vec<&str> {
        words::near(name, self.cards.iter().map(|card| card.id.as_str()), 3, 4)
    }
}

/// Puts a file of samples onto the card that it names. A card has one such file.
fn with_samples(cards: &mut [Card], measured: &mut BTreeSet<String>, file: &str, text: &str) -> Result<(), Faults> {
    let samples = sample::read(file, text)?;
    let of = samples.measured_of.to_lowercase();
    let fault = |reason: String, remedy: &str| -> Faults {
        let field = "measured_of".into();
        let line =
            text.lines().position(|line| line.trim_start().starts_with("measured_of")).map_or(0, |line| line + 1);
        Fault { file: file.into(), line, field, reason, remedy: remedy.into() }.into()
    };
    let Some(card) = cards.iter_mut().find(|card| card.id == of && !card.is_generic()) else {
        return Err(fault(format!("no card has the identifier `{of}`"), "`pagewise parts` lists the cards"));
    };
    if !measured.insert(of.clone()) {
        return Err(fault(format!("another file holds samples of `{of}`"), "put all samples into one file"));
    }
    *card = sample::onto(card, &samples, file, text)?;
    Ok(())
}

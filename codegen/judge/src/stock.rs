//! The user's stock list: a CSV table of parts with quantity, price, lead time and state, joined to verdicts.
//!
//! [`columns`] says which column is which, [`read`] reads the rows and tells everything that is wrong with them,
//! [`price`] counts money in millionths of the currency, so that nothing is rounded.

pub mod columns;
pub mod price;
pub mod read;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use columns::Columns;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Catalogue;
use pagewise_part::marking::Reader;
pub use price::Price;
pub use read::Row;

/// What a maker says about a part's future.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// In production.
    Active,
    /// Can be ordered for a last time.
    LastBuy,
    /// No longer made.
    Obsolete,
}

impl State {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::LastBuy => "last buy",
            Self::Obsolete => "obsolete",
        }
    }
}

/// A part of the stock list as it concerns one board.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Offer {
    /// Line of the stock list.
    pub line: usize,
    /// The part as it stands there, such as an order code.
    pub part: String,
    /// The user's own number of the part, where the list has one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub number: Option<String>,
    /// Pieces in stock.
    pub quantity: u64,
    /// Pieces that the board needs in a year, where it states that.
    pub needed: Option<u32>,
    /// Whether they last for the board's yearly volume; without a stated volume, for one piece.
    pub enough: bool,
    /// What the maker says.
    pub state: State,
    /// Days until more arrive, where stated.
    pub lead_time_days: Option<u32>,
    /// Price of one piece in the list's currency.
    pub unit_price: Price,
    /// Price of a year's volume, where the board states it.
    pub yearly_cost: Option<Price>,
    /// What further rows of the same card offer, best first.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub also: Vec<Offer>,
}

impl Offer {
    /// Availability first, then yearly cost, as a ranking wants it: enough in stock, the better state, the shorter lead
    /// time (none stated counts as the longest), the lower cost (of one piece where no volume is stated).
    #[must_use]
    pub fn rank(&self) -> (bool, State, u32, Price) {
        let lead = self.lead_time_days.unwrap_or(u32::MAX);
        (!self.enough, self.state, lead, self.yearly_cost.unwrap_or(self.unit_price))
    }
}

/// A row whose part no card describes.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unmatched {
    /// Line of the stock list.
    pub line: usize,
    /// What stands there.
    pub part: String,
    /// Cards that resemble it.
    pub near: Vec<String>,
}

/// A row whose part is a longer order code, such as one with package and grade, and what it was read as.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct ReadAs {
    /// Line of the stock list.
    pub line: usize,
    /// What stands there.
    pub part: String,
    /// Identifier of the card.
    pub card: String,
}

/// A stock list, matched with cards.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stock {
    /// File as the user named it.
    pub file: String,
    /// Currency of the prices, as the user words it; empty when not stated.
    pub currency: String,
    rows: BTreeMap<String, Vec<Row>>,
    /// Rows that no card matches. A stock list holds all sorts of parts, so they are no fault, but they are told.
    pub unmatched: Vec<Unmatched>,
    /// Rows whose part is longer than the order code of their card.
    pub read_as: Vec<ReadAs>,
}

/// What a row's part is.
enum Match {
    /// A card's identifier, by its own words.
    Card(String),
    /// The same, by the reading of a longer order code.
    ReadAs(String),
    /// No card; those that resemble it, and what is wrong with a card that the row names.
    None { near: Vec<String>, fault: Option<Fault> },
}

impl Match {
    fn of(row: &Row, file: &str, catalogue: &Catalogue, reader: &Reader<'_>) -> Self {
        let mut fault = None;
        let found = match &row.card {
            Some(card) => catalogue.named(card, file, row.line, "card").map_err(|wrong| fault = Some(wrong)).ok(),
            None => catalogue.find(&row.part),
        };
        if let Some(card) = found.filter(|card| !card.is_generic()) {
            return Self::Card(card.id.clone());
        }
        match if row.card.is_none() { reader.order_code(&row.part) } else { None } {
            Some(card) => Self::ReadAs(card),
            None => Self::None { near: catalogue.near(&row.part).into_iter().map(str::to_owned).collect(), fault },
        }
    }
}

impl Stock {
    /// Matches rows with cards: the row's `card` column where there is one, else its part, as identifier or order code.
    /// What is left is read as a marking is, and matched where that names one card by its order code. Several rows of
    /// one card are all kept.
    ///
    /// # Errors
    /// One part on two rows, under the same number of the user's own or none, a `card` column that names no card, or no row that matches any.
    pub fn of(file: &str, currency: &str, rows: Vec<Row>, catalogue: &Catalogue) -> Result<Self, Faults> {
        Self::of_telling(file, currency, rows, catalogue, &|| ())
    }

    /// The same, and calls `done` for each row that is matched.
    ///
    /// # Errors
    /// Those of [`Stock::of`].
    pub fn of_telling(
        file: &str,
        currency: &str,
        rows: Vec<Row>,
        catalogue: &Catalogue,
        done: &(dyn Fn() + Sync),
    ) -> Result<Self, Faults> {
        let mut faults = Vec::new();
        let mut stock = Self {
            file: file.into(),
            currency: currency.into(),
            rows: BTreeMap::new(),
            unmatched: Vec::new(),
            read_as: Vec::new(),
        };
        let reader = LazyLock::new(|| Reader::new(catalogue));
        let each = |row: &Row| {
            let found = Match::of(row, file, catalogue, &reader);
            done();
            found
        };
        let found: Vec<Match> = rows.par_iter().map(each).collect();
        for (row, found) in rows.into_iter().zip(found) {
            let card = match found {
                Match::Card(card) => card,
                Match::ReadAs(card) => {
                    stock.read_as.push(ReadAs { line: row.line, part: row.part.clone(), card: card.clone() });
                    card
                }
                Match::None { near, fault } => {
                    faults.extend(fault);
                    stock.unmatched.push(Unmatched { line: row.line, part: row.part, near });
                    continue;
                }
            };
            let same = stock.rows.entry(card).or_default();
            // The same order code under two numbers of the user's own is two things in two places.
            let is_row = |other: &&Row| other.part.eq_ignore_ascii_case(&row.part) && other.number == row.number;
            if let Some(earlier) = same.iter().find(is_row) {
                let reason = format!("`{}` is on line {} already", row.part, earlier.line);
                faults.push(row.fault(file, "part", reason, "keep one row for each part"));
                continue;
            }
            same.push(row);
        }
        if stock.rows.is_empty() && faults.is_empty() {
            let remedy = "the part column holds identifiers or order codes as `pagewise parts` lists them";
            faults.push(Fault::of_file(file, "no row matches a card", remedy));
        }
        Faults(faults).or_ok(stock)
    }

    /// Identifiers of the cards on the list.
    pub fn cards(&self) -> impl Iterator<Item = &str> {
        self.rows.keys().map(String::as_str)
    }

    /// What the list offers of a card for a yearly volume: its best row, and the others with it.
    #[must_use]
    pub fn offer(&self, card: &str, yearly_volume: Option<u32>) -> Option<Offer> {
        let mut offers: Vec<Offer> = self.rows.get(card)?.iter().map(|row| row.offer(yearly_volume)).collect();
        offers.sort_by_key(Offer::rank);
        let also = offers.split_off(1);
        Some(Offer { also, ..offers.pop()? })
    }
}

impl Row {
    fn offer(&self, yearly_volume: Option<u32>) -> Offer {
        let volume = u64::from(yearly_volume.unwrap_or(1));
        Offer {
            line: self.line,
            part: self.part.clone(),
            number: self.number.clone(),
            quantity: self.quantity,
            needed: yearly_volume,
            enough: self.quantity >= volume,
            state: self.state,
            lead_time_days: self.lead_time_days,
            unit_price: self.unit_price,
            yearly_cost: yearly_volume.map(|volume| self.unit_price.times(volume)),
            also: Vec::new(),
        }
    }
}

//! The user's stock list: a CSV table of parts with quantity, price, lead time and state, joined to verdicts.
//!
//! [`columns`] says which column is which, [`read`] reads the rows and tells everything that is wrong with them,
//! [`price`] counts money in millionths of the currency, so that nothing is rounded.

pub mod columns;
pub mod price;
pub mod read;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use columns::Columns;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Catalogue;
use pagewise_part::marking::Reader;
pub use price::Price;
pub use read::Row;

/// What a maker says about a part's future.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Offer {
    /// Line of the stock list.
    pub line: usize,
    /// Pieces in stock.
    pub quantity: u64,
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unmatched {
    /// Line of the stock list.
    pub line: usize,
    /// What stands there.
    pub part: String,
    /// Cards that resemble it.
    pub near: Vec<String>,
    /// Line of another row of the card that this one would be read as, where that is why it is left out.
    pub other_line: Option<usize>,
}

/// A row whose part is a longer order code, such as one with package and grade, and what it was read as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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
    rows: BTreeMap<String, Row>,
    /// Rows that no card matches. A stock list holds all sorts of parts, so they are no fault, but they are told.
    pub unmatched: Vec<Unmatched>,
    /// Rows whose part is longer than the order code of their card.
    pub read_as: Vec<ReadAs>,
}

impl Stock {
    /// Matches rows with cards: the row's `card` column where there is one, else its part, as identifier or order code.
    /// What is left is read as a marking is, and matched where that names one card by its order code, and no other row
    /// has that card: of two packages of one part the list does not say which is meant.
    ///
    /// # Errors
    /// Two rows for one card, a `card` column that names none, or no row that matches any.
    pub fn of(file: &str, currency: &str, rows: Vec<Row>, catalogue: &Catalogue) -> Result<Self, Faults> {
        let mut faults = Vec::new();
        let mut stock = Self {
            file: file.into(),
            currency: currency.into(),
            rows: BTreeMap::new(),
            unmatched: Vec::new(),
            read_as: Vec::new(),
        };
        let mut left = Vec::new();
        for row in rows {
            let found = match &row.card {
                Some(card) => catalogue.named(card, file, row.line, "card").map_err(|fault| faults.push(fault)).ok(),
                None => catalogue.find(&row.part),
            };
            let Some(card) = found.filter(|card| !card.is_generic()) else {
                left.push(row);
                continue;
            };
            if let Some(earlier) = stock.rows.get(&card.id) {
                let reason = format!("`{}` is on line {} already", card.id, earlier.line);
                faults.push(row.fault(file, "part", reason, "keep one row for each part"));
                continue;
            }
            stock.rows.insert(card.id.clone(), row);
        }
        stock.read_left(left, catalogue);
        if stock.rows.is_empty() && faults.is_empty() {
            let remedy = "the part column holds identifiers or order codes as `pagewise parts` lists them";
            faults.push(Fault::of_file(file, "no row matches a card", remedy));
        }
        Faults(faults).or_ok(stock)
    }

    /// Rows that name no card as they stand.
    fn read_left(&mut self, left: Vec<Row>, catalogue: &Catalogue) {
        if left.is_empty() {
            return;
        }
        let reader = Reader::new(catalogue);
        let read: Vec<(Row, Option<String>)> = left
            .into_iter()
            .map(|row| {
                let card = if row.card.is_none() { reader.order_code(&row.part) } else { None };
                (row, card)
            })
            .collect();
        let mut lines: BTreeMap<String, Vec<usize>> =
            self.rows.iter().map(|(card, row)| (card.clone(), vec![row.line])).collect();
        for (row, card) in &read {
            if let Some(card) = card {
                lines.entry(card.clone()).or_default().push(row.line);
            }
        }
        for (row, card) in read {
            let others = card.as_ref().and_then(|card| lines.get(card)).into_iter().flatten();
            let other_line = others.copied().find(|line| *line != row.line);
            let (line, part) = (row.line, row.part.clone());
            match (card, other_line) {
                (Some(card), None) => {
                    self.read_as.push(ReadAs { line, part, card: card.clone() });
                    self.rows.insert(card, row);
                }
                (card, other_line) => {
                    let near = card.map_or_else(
                        || catalogue.near(&part).into_iter().map(str::to_owned).collect(),
                        |card| vec![card],
                    );
                    self.unmatched.push(Unmatched { line, part, near, other_line });
                }
            }
        }
    }

    /// Identifiers of the cards on the list.
    pub fn cards(&self) -> impl Iterator<Item = &str> {
        self.rows.keys().map(String::as_str)
    }

    /// What the list offers of a card for a yearly volume.
    #[must_use]
    pub fn offer(&self, card: &str, yearly_volume: Option<u32>) -> Option<Offer> {
        let row = self.rows.get(card)?;
        let volume = u64::from(yearly_volume.unwrap_or(1));
        Some(Offer {
            line: row.line,
            quantity: row.quantity,
            enough: row.quantity >= volume,
            state: row.state,
            lead_time_days: row.lead_time_days,
            unit_price: row.unit_price,
            yearly_cost: yearly_volume.map(|volume| row.unit_price.times(volume)),
        })
    }
}

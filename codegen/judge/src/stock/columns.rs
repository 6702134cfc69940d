//! Which column of the user's table is which, from a small TOML file; without one, the names below.

use std::fs;
use std::path::Path;

use super::State;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::{Document, Form};

/// How to read a stock list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    /// Header of the column with the part.
    pub part: String,
    /// Of the column with the card's identifier; it may be absent or empty.
    pub card: String,
    /// Of the column with the pieces in stock.
    pub quantity: String,
    /// Of the column with the price of one piece.
    pub unit_price: String,
    /// Of the column with the lead time.
    pub lead_time: String,
    /// Days in one unit of lead time.
    pub lead_time_unit_days: u32,
    /// Of the column with the state.
    pub state: String,
    /// Words of the state column, lower case.
    pub words: Vec<(String, State)>,
    /// Currency of the prices.
    pub currency: String,
    /// Between two fields.
    pub delimiter: u8,
    /// Decimal mark of the prices.
    pub decimal_mark: char,
}

impl Default for Columns {
    fn default() -> Self {
        let words = [
            ("active", State::Active),
            ("last buy", State::LastBuy),
            ("last-buy", State::LastBuy),
            ("obsolete", State::Obsolete),
        ];
        Self {
            part: "part".into(),
            card: "card".into(),
            quantity: "quantity".into(),
            unit_price: "unit_price".into(),
            lead_time: "lead_time_days".into(),
            lead_time_unit_days: 1,
            state: "state".into(),
            words: words.map(|(word, state)| (word.to_owned(), state)).into(),
            currency: String::new(),
            delimiter: b',',
            decimal_mark: '.',
        }
    }
}

/// Reads a file that names the columns.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path) -> Result<Columns, Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &text)
}

/// Reads the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Columns, Faults> {
    let document = Document::parse(file, text);
    if document.is_faulty() {
        return Err(document.finish());
    }
    let columns = columns(&document.root());
    document.finish().or_ok(columns)
}

fn columns(form: &Form<'_, '_>) -> Columns {
    const DELIMITERS: [(&str, u8); 4] = [(",", b','), (";", b';'), ("|", b'|'), ("tab", b'\t')];
    let mut read = Columns::default();
    let set = |form: &Form<'_, '_>, key: &str, name: &mut String| {
        if let Some(text) = form.text(key) {
            *name = text;
        }
    };
    set(form, "currency", &mut read.currency);
    read.delimiter = form.choice("delimiter", &DELIMITERS).unwrap_or(read.delimiter);
    read.decimal_mark = form.choice("decimal_mark", &[(".", '.'), (",", ',')]).unwrap_or(read.decimal_mark);
    read.lead_time_unit_days = form.choice("lead_time_in", &[("days", 1), ("weeks", 7)]).unwrap_or(1);
    if let Some(table) = form.table("columns") {
        set(&table, "part", &mut read.part);
        set(&table, "card", &mut read.card);
        set(&table, "quantity", &mut read.quantity);
        set(&table, "unit_price", &mut read.unit_price);
        set(&table, "lead_time", &mut read.lead_time);
        set(&table, "state", &mut read.state);
        table.finish();
        let names = [&read.part, &read.card, &read.quantity, &read.unit_price, &read.lead_time, &read.state];
        for (index, name) in names.iter().enumerate() {
            if names[..index].contains(name) {
                table.fault("", format!("the column `{name}` stands for two things"), "name each column once");
            }
        }
    }
    if let Some(table) = form.table("states") {
        for (key, state) in [("active", State::Active), ("last_buy", State::LastBuy), ("obsolete", State::Obsolete)] {
            for word in table.texts(key) {
                let word = word.trim().to_lowercase();
                if read.words.iter().any(|(known, other)| *known == word && *other != state) {
                    table.fault(key, format!("`{word}` means another state already"), "give each word one meaning");
                }
                read.words.push((word, state));
            }
        }
        table.finish();
    }
    form.finish();
    read
}

//! Reads the rows of a stock list.

use std::path::Path;

use super::{Columns, Price, State};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::table::{self, Table};

/// One row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: usize,
    /// The part as it stands there.
    pub part: String,
    /// The user's own number of the part, where the list has one.
    pub number: Option<String>,
    /// Identifier of its card, where the list states it.
    pub card: Option<String>,
    /// Pieces in stock.
    pub quantity: u64,
    /// Price of one piece.
    pub unit_price: Price,
    /// Days until more arrive, where stated.
    pub lead_time_days: Option<u32>,
    /// What the maker says.
    pub state: State,
}

impl Row {
    pub(super) fn fault(&self, file: &str, field: &str, reason: String, remedy: &str) -> Fault {
        Fault { file: file.into(), line: self.line, field: field.into(), reason, remedy: remedy.into() }
    }
}

/// Reads a stock list.
///
/// # Errors
/// The file cannot be read, a column is missing, or everything that is wrong with any row.
pub fn read(path: &Path, columns: &Columns) -> Result<Vec<Row>, Faults> {
    rows(Table::read(path, columns.delimiter, BELOW)?, columns)
}

/// Places of the columns in a row.
struct Places {
    part: usize,
    number: Option<usize>,
    card: Option<usize>,
    quantity: usize,
    unit_price: usize,
    lead_time: Option<usize>,
    state: usize,
}

/// Reads the rows of `file` from its bytes, a [`Table`].
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, bytes: &[u8], columns: &Columns) -> Result<Vec<Row>, Faults> {
    rows(Table::parse(file, bytes, columns.delimiter, BELOW)?, columns)
}

const BELOW: &str = "one row for each part";

fn rows(mut table: Table, columns: &Columns) -> Result<Vec<Row>, Faults> {
    let mut rows = Vec::new();
    if let Some(places) = places(&mut table, columns) {
        for cells in std::mem::take(&mut table.rows) {
            rows.extend(row(&mut table, &cells, &places, columns));
        }
        if rows.is_empty() && table.faults.is_empty() {
            table.fault(0, "", "holds no row", "list the parts below the header");
        }
    }
    Faults(table.faults).or_ok(rows)
}

fn places(table: &mut Table, columns: &Columns) -> Option<Places> {
    let mut need = |name: &str| {
        let place = table.place(name);
        if place.is_none() {
            let there = table.names.join(", ");
            let remedy = format!("the header has {there}; a file for --columns names the right one");
            table.fault(table.line, name, "no such column", remedy);
        }
        place
    };
    let (part, quantity) = (need(&columns.part), need(&columns.quantity));
    let (unit_price, state) = (need(&columns.unit_price), need(&columns.state));
    Some(Places {
        part: part?,
        number: table.place(&columns.number),
        card: table.place(&columns.card),
        quantity: quantity?,
        unit_price: unit_price?,
        lead_time: table.place(&columns.lead_time),
        state: state?,
    })
}

/// One row; notes everything that is wrong with it.
fn row(table: &mut Table, read: &table::Row, places: &Places, columns: &Columns) -> Option<Row> {
    let before = table.faults.len();
    let text = |place: usize| read.cells[place].as_str();
    let mut note = |field: &str, reason: String, remedy: &str| table.fault(read.line, field, reason, remedy);
    let part = text(places.part).to_owned();
    if part.is_empty() {
        note(&columns.part, "is empty".into(), "name the part, or remove the row");
    }
    let quantity = text(places.quantity).parse::<u64>().unwrap_or_else(|_| {
        note(
            &columns.quantity,
            format!("`{}` is not a whole number", text(places.quantity)),
            "write pieces, such as 2500",
        );
        0
    });
    let unit_price = Price::parse(text(places.unit_price), columns.decimal_mark).unwrap_or_else(|reason| {
        note(&columns.unit_price, reason, "write the price of one piece without currency or thousands' marks");
        Price::default()
    });
    let lead = places.lead_time.map(text).filter(|text| !text.is_empty());
    let lead_time_days = lead.and_then(|text| {
        let days = text.parse::<u32>().ok().and_then(|time| time.checked_mul(columns.lead_time_unit_days));
        if days.is_none() {
            let unit = if columns.lead_time_unit_days == 7 { "weeks" } else { "days" };
            note(
                &columns.lead_time,
                format!("`{text}` is not a whole number of {unit}"),
                "write it, or leave it empty",
            );
        }
        days
    });
    let word = text(places.state).to_lowercase();
    let state = columns.words.iter().find(|(known, _)| *known == word).map(|(_, state)| *state);
    if state.is_none() {
        let known: Vec<&str> = columns.words.iter().map(|(word, _)| word.as_str()).collect();
        let reason = format!("`{}` is not known", text(places.state));
        let remedy = format!("use one of: {}; a file for --columns adds words", known.join(", "));
        note(&columns.state, reason, &remedy);
    }
    let stated = |place: Option<usize>| place.map(text).filter(|text| !text.is_empty()).map(str::to_owned);
    let (number, card) = (stated(places.number), stated(places.card));
    let row = Row { line: read.line, part, number, card, quantity, unit_price, lead_time_days, state: state? };
    (table.faults.len() == before).then_some(row)
}

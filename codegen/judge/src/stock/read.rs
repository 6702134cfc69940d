//! Reads the rows of a stock list.

use std::fs;
use std::path::Path;

use super::{Columns, Price, State};
use pagewise_base::fault::{Fault, Faults};

/// One row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: u64,
    /// The part as it stands there.
    pub part: String,
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
        fault(file, self.line, field, reason, remedy)
    }
}

fn fault(file: &str, line: u64, field: &str, reason: impl Into<String>, remedy: &str) -> Fault {
    let line = usize::try_from(line).unwrap_or(0);
    Fault { file: file.into(), line, field: field.into(), reason: reason.into(), remedy: remedy.into() }
}

/// Reads a stock list.
///
/// # Errors
/// The file cannot be read, a column is missing, or everything that is wrong with any row.
pub fn read(path: &Path, columns: &Columns) -> Result<Vec<Row>, Faults> {
    let file = path.display().to_string();
    let bytes = fs::read(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &bytes, columns)
}

/// Places of the columns in a row.
struct Places {
    part: usize,
    card: Option<usize>,
    quantity: usize,
    unit_price: usize,
    lead_time: Option<usize>,
    state: usize,
}

/// Reads the rows of `file` from its bytes.
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, bytes: &[u8], columns: &Columns) -> Result<Vec<Row>, Faults> {
    // Spreadsheets put a mark before the text.
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let mut reader =
        csv::ReaderBuilder::new().delimiter(columns.delimiter).trim(csv::Trim::All).flexible(true).from_reader(bytes);
    let mut faults = Vec::new();
    let first = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
    if bytes.trim_ascii().is_empty() {
        let remedy = "begin with a row that names the columns, then one row for each part";
        return Err(Fault::of_file(file, "holds no row", remedy).into());
    }
    if std::str::from_utf8(first).is_err() {
        return Err(fault(file, 1, "", "is not UTF-8 text", "save the file as UTF-8").into());
    }
    let (mut rows, mut fields) = (Vec::new(), 0);
    let places = match reader.byte_headers() {
        Ok(header) => {
            fields = header.len();
            places(file, &header.iter().map(String::from_utf8_lossy).collect::<Vec<_>>(), columns, &mut faults)
        }
        Err(error) => {
            faults.push(Fault::of_file(file, format!("cannot be read as CSV: {error}"), "correct it"));
            None
        }
    };
    let Some(places) = places else { return Err(Faults(faults)) };
    for record in reader.byte_records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(Fault::of_file(file, format!("cannot be read as CSV: {error}"), "correct it"));
                break;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != fields {
            let reason = format!("{} fields, the header has {fields}", record.len());
            faults.push(fault(file, line, "", reason, "put texts that hold the delimiter into quotes"));
            continue;
        }
        match csv::StringRecord::from_byte_record(record) {
            Ok(record) => rows.extend(row(file, line, &record, &places, columns, &mut faults)),
            Err(_) => faults.push(fault(file, line, "", "is not UTF-8", "save the list as UTF-8")),
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(Fault::of_file(file, "holds no row", "list the parts below the header"));
    }
    Faults(faults).or_ok(rows)
}

fn places<S: AsRef<str>>(file: &str, header: &[S], columns: &Columns, faults: &mut Vec<Fault>) -> Option<Places> {
    let find = |name: &str| header.iter().position(|field| field.as_ref().eq_ignore_ascii_case(name));
    let mut need = |name: &str| {
        let place = find(name);
        if place.is_none() {
            let there: Vec<&str> = header.iter().map(AsRef::as_ref).collect();
            let remedy = format!("the header has {}; a file for --columns names the right one", there.join(", "));
            faults.push(fault(file, 1, name, "no such column", &remedy));
        }
        place
    };
    let (part, quantity) = (need(&columns.part), need(&columns.quantity));
    let (unit_price, state) = (need(&columns.unit_price), need(&columns.state));
    Some(Places {
        part: part?,
        card: find(&columns.card),
        quantity: quantity?,
        unit_price: unit_price?,
        lead_time: find(&columns.lead_time),
        state: state?,
    })
}

/// One row; notes everything that is wrong with it.
fn row(
    file: &str,
    line: u64,
    record: &csv::StringRecord,
    places: &Places,
    columns: &Columns,
    faults: &mut Vec<Fault>,
) -> Option<Row> {
    let before = faults.len();
    let text = |place: usize| record.get(place).unwrap_or_default();
    let mut note = |field: &str, reason: String, remedy: &str| faults.push(fault(file, line, field, reason, remedy));
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
    let card = places.card.map(text).filter(|text| !text.is_empty()).map(str::to_owned);
    let row = Row { line, part, card, quantity, unit_price, lead_time_days, state: state? };
    (faults.len() == before).then_some(row)
}

//! Which column of the user's table is which, from a small TOML file; without one, the names below.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::Deserialize;

use super::State;
use crate::board::sheet;
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::{Document, Shape};

/// The shape of files that name columns.
pub static SHAPE: LazyLock<Shape<ColumnsFile>> = LazyLock::new(Shape::new);

/// Which column of a stock list is which; what is left out has its usual name.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ColumnsFile {
    /// Currency of the prices.
    #[schemars(regex(pattern = r"\S"))]
    currency: Option<String>,
    /// Between two fields; without it, a comma, semicolon or tab, as the first row has them.
    delimiter: Option<Delimiter>,
    /// Decimal mark of the prices.
    decimal_mark: Option<DecimalMark>,
    /// Unit of the lead time.
    lead_time_in: Option<LeadTime>,
    /// Headers of the columns.
    #[serde(default)]
    columns: Names,
    /// Headers of the columns of a table of boards, by field of a board file: `"bus.supply_v" = "Vcc"`; besides, `family` and
    /// `regions`.
    #[serde(default)]
    boards: BTreeMap<String, String>,
    /// Words of the state column.
    #[serde(default)]
    states: States,
}

/// What stands between two fields.
#[derive(Clone, Copy, JsonSchema, Deserialize)]
enum Delimiter {
    #[serde(rename = ",")]
    Comma,
    #[serde(rename = ";")]
    Semicolon,
    #[serde(rename = "|")]
    Bar,
    #[serde(rename = "tab")]
    Tab,
}

impl Delimiter {
    const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Bar => b'|',
            Self::Tab => b'\t',
        }
    }
}

/// Decimal mark.
#[derive(Clone, Copy, PartialEq, Eq, JsonSchema, Deserialize)]
enum DecimalMark {
    #[serde(rename = ".")]
    Point,
    #[serde(rename = ",")]
    Comma,
}

/// Unit of the lead time.
#[derive(Clone, Copy, PartialEq, Eq, JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum LeadTime {
    Days,
    Weeks,
}

/// Headers of the columns.
#[derive(Default, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
struct Names {
    /// The part.
    #[schemars(regex(pattern = r"\S"))]
    part: Option<String>,
    /// The user's own number of the part; the column may be absent or empty.
    #[schemars(regex(pattern = r"\S"))]
    number: Option<String>,
    /// The card's identifier; the column may be absent or empty.
    #[schemars(regex(pattern = r"\S"))]
    card: Option<String>,
    /// Pieces in stock.
    #[schemars(regex(pattern = r"\S"))]
    quantity: Option<String>,
    /// Price of one piece.
    #[schemars(regex(pattern = r"\S"))]
    unit_price: Option<String>,
    /// Time until more arrive.
    #[schemars(regex(pattern = r"\S"))]
    lead_time: Option<String>,
    /// What the maker says about the part's future.
    #[schemars(regex(pattern = r"\S"))]
    state: Option<String>,
}

/// Words of the state column, upper and lower case not told apart.
#[derive(Default, JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
struct States {
    /// In production.
    #[serde(default)]
    active: Vec<String>,
    /// Can be ordered for a last time.
    #[serde(default)]
    last_buy: Vec<String>,
    /// No longer made.
    #[serde(default)]
    obsolete: Vec<String>,
}

/// How to read a stock list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    /// Header of the column with the part.
    pub part: String,
    /// Of the column with the user's own number of the part; it may be absent or empty.
    pub number: String,
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
    /// Headers of the columns of a table of boards, by field.
    pub boards: BTreeMap<String, String>,
    /// Words of the state column, lower case.
    pub words: Vec<(String, State)>,
    /// Currency of the prices.
    pub currency: String,
    /// Between two fields; without one, what the first row has.
    pub delimiter: Option<u8>,
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
            number: "own_number".into(),
            card: "card".into(),
            quantity: "quantity".into(),
            unit_price: "unit_price".into(),
            lead_time: "lead_time_days".into(),
            lead_time_unit_days: 1,
            state: "state".into(),
            boards: BTreeMap::new(),
            words: words.map(|(word, state)| (word.to_owned(), state)).into(),
            currency: String::new(),
            delimiter: None,
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
    let columns = SHAPE.read(&document).map(|read| columns(&document, read));
    document.finish().or_ok(columns.unwrap_or_default())
}

fn columns(form: &Document<'_>, file: ColumnsFile) -> Columns {
    let usual = Columns::default();
    let named = file.columns;
    let read = Columns {
        part: named.part.unwrap_or(usual.part),
        number: named.number.unwrap_or(usual.number),
        card: named.card.unwrap_or(usual.card),
        quantity: named.quantity.unwrap_or(usual.quantity),
        unit_price: named.unit_price.unwrap_or(usual.unit_price),
        lead_time: named.lead_time.unwrap_or(usual.lead_time),
        state: named.state.unwrap_or(usual.state),
        currency: file.currency.unwrap_or(usual.currency),
        delimiter: file.delimiter.map(Delimiter::byte),
        decimal_mark: if file.decimal_mark == Some(DecimalMark::Comma) { ',' } else { '.' },
        lead_time_unit_days: if file.lead_time_in == Some(LeadTime::Weeks) { 7 } else { 1 },
        boards: boards(form, file.boards),
        words: words(form, usual.words, file.states),
    };
    let names = [&read.part, &read.number, &read.card, &read.quantity, &read.unit_price, &read.lead_time, &read.state];
    for (index, name) in names.iter().enumerate() {
        if names[..index].contains(name) {
            form.fault("columns", format!("the column `{name}` stands for two things"), "name each column once");
        }
    }
    read
}

fn boards(form: &Document<'_>, named: BTreeMap<String, String>) -> BTreeMap<String, String> {
    for field in named.keys().filter(|field| !sheet::takes(field)) {
        form.fault("boards", format!("`{field}` is not a field of a board"), "write a path such as bus.supply_v");
    }
    named
}

fn words(form: &Document<'_>, mut known: Vec<(String, State)>, file: States) -> Vec<(String, State)> {
    let states = [
        ("active", file.active, State::Active),
        ("last_buy", file.last_buy, State::LastBuy),
        ("obsolete", file.obsolete, State::Obsolete),
    ];
    for (key, words, state) in states {
        for word in words.iter().map(|word| word.trim().to_lowercase()) {
            if known.iter().any(|(earlier, other)| *earlier == word && *other != state) {
                let reason = format!("`{word}` means another state already");
                form.fault(&format!("states.{key}"), reason, "give each word one meaning");
            }
            known.push((word, state));
        }
    }
    known
}

//! Boards from a table: each row is written as the board file that it stands for, and read as such.
//!
//! Columns are the fields of a board file, by path (`bus.supply_v`) or last piece (`supply_v`). Everything but `name` and
//! `fitted` may be missing: what then stands in comes from the fitted part (`stand_in.rs`), is listed in
//! the file's `unstated`, and is a condition of each verdict that it matters to.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use toml::{Table as Tables, Value};

use super::cell::{self, paths};
use super::{Board, parse, stand_in};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::table::{Row, Table};
use pagewise_base::words;
use pagewise_part::card::Catalogue;

/// Column with a file whose fields stand for those that the row leaves out.
const FAMILY: &str = "family";
/// Column with the regions of the array: `serial 0x0000+64; log 0x0040+1024 24/day`.
const REGIONS: &str = "regions";
/// Column, or key of a family's file, with recordings of the board's bus: `start.sr; save.vcd`, seen from the table.
const RECORDING: &str = "recording";
const BELOW: &str = "one row for each board";

/// The boards of a table.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    /// Each with the text of its board file.
    pub boards: Vec<(Board, String)>,
    /// Recordings of a board's bus, by the board's `file`, in the order of time.
    pub recordings: BTreeMap<String, Vec<PathBuf>>,
    /// Rows whose fitted part no card describes: nothing can be said of them.
    pub without_card: Vec<Fault>,
    /// Columns that boards have no field for; they are left alone.
    pub unused_columns: Vec<String>,
}

/// What a column holds.
enum Column {
    Field(String),
    Family,
    Regions,
    Unused,
}

/// Whether a path names a table rather than a board file.
#[must_use]
pub fn is_table(path: &Path) -> bool {
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
    extension.is_some_and(|extension| ["csv", "tsv", "xlsx", "ods"].contains(&extension.as_str()))
}

/// Reads the boards of a table; `names` has the header of each field that is called otherwise there.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path, names: &BTreeMap<String, String>, catalogue: &Catalogue) -> Result<Sheet, Faults> {
    let mut table = Table::read(path, None, BELOW)?;
    let columns = columns(&mut table, names);
    let mut families = Families { folder: path.parent().unwrap_or(Path::new("")), read: BTreeMap::new() };
    let mut sheet = Sheet { unused_columns: unused(&table, &columns), ..Sheet::default() };
    let mut lines: BTreeMap<String, usize> = BTreeMap::new();
    for row in std::mem::take(&mut table.rows) {
        let before = table.faults.len();
        let mut fields = fields(&mut table, &row, &columns, &mut families);
        if let Some(Value::String(name)) = fields.get("name")
            && let Some(earlier) = lines.insert(name.clone(), row.line)
        {
            table.fault(row.line, "name", format!("`{name}` is on line {earlier} already"), "name each board once");
        }
        let recordings = recordings(&mut table, &row, &mut fields, families.folder);
        if table.faults.len() == before {
            if !recordings.is_empty() {
                sheet.recordings.insert(place(&table, &row), recordings);
            }
            board(&mut sheet, &mut table, &row, fields, &columns, catalogue);
        }
    }
    Faults(table.faults).or_ok(sheet)
}

fn unused(table: &Table, columns: &[Column]) -> Vec<String> {
    let named = table.names.iter().zip(columns);
    named.filter(|(_, column)| matches!(column, Column::Unused)).map(|(name, _)| name.clone()).collect()
}

/// Whether a table of boards has a column for what is named so: the path of a field, `family` or `regions`.
#[must_use]
pub fn takes(field: &str) -> bool {
    [FAMILY, REGIONS].contains(&field) || paths().any(|path| path == field)
}

/// The rows of a table of boards that says what the texts of board files say; what nobody stated is left empty.
///
/// # Errors
/// A text is not TOML.
pub fn rows(texts: &[String]) -> Result<Vec<Vec<String>>, String> {
    let boards: Vec<Tables> = texts
        .iter()
        .map(|text| text.parse().map_err(|error: toml::de::Error| error.to_string()))
        .collect::<Result<_, _>>()?;
    let unstated = |board: &Tables, path: &str| {
        board
            .get("unstated")
            .and_then(Value::as_array)
            .is_some_and(|all| all.iter().any(|it| it.as_str() == Some(path)))
    };
    let stated = |board: &Tables, path: &str| {
        cell::get(board, path).filter(|_| !unstated(board, path)).map_or_else(String::new, cell::text)
    };
    let first = ["name", "fitted"].into_iter();
    let all = first.chain(paths().filter(|path| !["name", "fitted"].contains(path))).chain(["region"]);
    let used: Vec<&str> = all.filter(|path| boards.iter().any(|board| !stated(board, path).is_empty())).collect();
    let header = used.iter().map(|path| if *path == "region" { REGIONS } else { path }.to_owned()).collect();
    let rows = boards.iter().map(|board| used.iter().map(|path| stated(board, path)).collect());
    Ok(std::iter::once(header).chain(rows).collect())
}

fn columns(table: &mut Table, names: &BTreeMap<String, String>) -> Vec<Column> {
    let last = |path: &str| path.rsplit('.').next().unwrap_or(path).to_owned();
    let usual: BTreeMap<String, &str> =
        paths().map(|path| (last(path), path)).chain(paths().map(|path| (path.to_owned(), path))).collect();
    let own: BTreeMap<String, &String> = names.iter().map(|(field, header)| (header.to_lowercase(), field)).collect();
    let mut columns = Vec::new();
    for header in table.names.clone() {
        let plain = header.trim().to_lowercase();
        let wanted = own.get(&plain).map_or(plain.as_str(), |field| field.as_str());
        columns.push(match (wanted, usual.get(wanted)) {
            (FAMILY, _) => Column::Family,
            (REGIONS, _) => Column::Regions,
            (_, Some(path)) => Column::Field((*path).to_owned()),
            (_, None) => {
                let known = usual.keys().map(String::as_str);
                if let Some(near) = words::near(&plain, known, 2, 1).first().filter(|_| !plain.is_empty()) {
                    let remedy = format!("did you mean `{near}`? a file for --columns can say what it is");
                    table.fault(table.line, &header, "boards have no field of this name", remedy);
                }
                Column::Unused
            }
        });
    }
    for needed in ["name", "fitted"] {
        if !columns.iter().any(|column| matches!(column, Column::Field(path) if path == needed)) {
            let there = table.names.join(", ");
            let remedy = format!("the first row has {there}; a file for --columns names the right one");
            table.fault(table.line, needed, "no such column", remedy);
        }
    }
    columns
}

/// The fields that a row and its family state.
fn fields(table: &mut Table, row: &Row, columns: &[Column], families: &mut Families<'_>) -> Tables {
    let mut fields = Tables::new();
    for (text, column) in row.cells.iter().zip(columns) {
        if let (Column::Family, false) = (column, text.is_empty()) {
            match families.get(text) {
                Ok(family) => fields = family,
                Err(reason) => table.fault(row.line, FAMILY, reason, "name a file of board fields beside the table"),
            }
        }
    }
    for ((text, column), header) in row.cells.iter().zip(columns).zip(table.names.clone()) {
        if cell::is_unknown(text) {
            continue;
        }
        match column {
            Column::Field(path) => cell::set(&mut fields, path, cell::value(path, text)),
            Column::Regions => match cell::regions(text) {
                Ok(regions) => cell::set(&mut fields, "region", regions),
                Err(reason) => table.fault(row.line, &header, reason, "write `NAME OFFSET+LENGTH [WRITES/day]; ...`"),
            },
            Column::Family | Column::Unused => {}
        }
    }
    for needed in ["name", "fitted"] {
        if !fields.contains_key(needed) && table.place(needed).is_some() {
            table.fault(row.line, needed, "is empty", "a board needs a name and its fitted part");
        }
    }
    fields
}

/// Takes the recordings out of what a row and its family state.
fn recordings(table: &mut Table, row: &Row, fields: &mut Tables, folder: &Path) -> Vec<PathBuf> {
    let named = match fields.remove(RECORDING) {
        None => return Vec::new(),
        Some(Value::Array(names)) => names,
        Some(name) => vec![name],
    };
    let mut files = Vec::new();
    for name in named {
        match name.as_str().map(|name| folder.join(name)) {
            Some(file) if file.is_file() => files.push(file),
            _ => {
                let reason = format!("there is no file {name}");
                table.fault(row.line, RECORDING, reason, "name recordings beside the table, `;` between them");
            }
        }
    }
    files
}

/// What the board of a row has for its file.
fn place(table: &Table, row: &Row) -> String {
    format!("{}:{}", table.file, row.line)
}

fn board(
    sheet: &mut Sheet,
    table: &mut Table,
    row: &Row,
    mut fields: Tables,
    columns: &[Column],
    catalogue: &Catalogue,
) {
    let fitted = fields.get("fitted").and_then(Value::as_str).unwrap_or_default().to_owned();
    let card = match catalogue.named(&fitted, &table.file, row.line, "fitted") {
        Ok(card) => card,
        Err(fault) => return sheet.without_card.push(fault),
    };
    stand_in::fill(&mut fields, card);
    let text = cell::file_text(&fields, &format!("From {}, line {}.", table.file, row.line));
    match parse(&place(table, row), &text) {
        Ok(board) => sheet.boards.push((board, text)),
        Err(faults) => {
            for fault in faults.0 {
                let header = columns.iter().position(|column| match column {
                    Column::Field(path) => *path == fault.field || fault.field.starts_with(&format!("{path}[")),
                    Column::Regions => fault.field.starts_with("region"),
                    Column::Family | Column::Unused => false,
                });
                let field = header.map_or(fault.field, |place| table.names[place].clone());
                table.fault(row.line, &field, fault.reason, fault.remedy);
            }
        }
    }
}

/// Files of fields that several boards share, each read once.
struct Families<'p> {
    folder: &'p Path,
    read: BTreeMap<String, Result<Tables, String>>,
}

impl Families<'_> {
    fn get(&mut self, name: &str) -> Result<Tables, String> {
        let path = self.folder.join(name);
        let read = || {
            let text = std::fs::read_to_string(&path).map_err(|error| format!("`{name}` cannot be read: {error}"))?;
            text.parse::<Tables>().map_err(|error| format!("`{name}` is not valid TOML: {}", error.message()))
        };
        self.read.entry(name.to_owned()).or_insert_with(read).clone()
    }
}

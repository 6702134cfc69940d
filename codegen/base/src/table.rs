//! Tables that people keep in spreadsheet programs: a row that names the columns, then rows of cells.

mod sheet;

use std::fs;
use std::path::Path;

use crate::fault::{Fault, Faults};

/// Longer files are not tables that a person keeps, in bytes.
const MOST_BYTES: u64 = 1 << 28;

/// A table and what is wrong with it so far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// File as the user named it.
    pub file: String,
    /// Line of the row that names the columns.
    pub line: usize,
    /// Names of the columns.
    pub names: Vec<String>,
    /// The rows below that hold something and can be read, each with as many cells as there are names.
    pub rows: Vec<Row>,
    /// What is wrong.
    pub faults: Vec<Fault>,
}

/// A row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: usize,
    /// Its cells without blanks around them.
    pub cells: Vec<String>,
}

impl Table {
    /// Reads a table from a file: a spreadsheet (`.xlsx`, `.ods`: its first sheet) or text, as [`Table::parse`] does.
    ///
    /// # Errors
    /// The file cannot be read, or holds no row; `below` says what belongs below the first.
    pub fn read(path: &Path, delimiter: Option<u8>, below: &str) -> Result<Self, Faults> {
        let file = path.display().to_string();
        let long = fs::metadata(path).is_ok_and(|it| it.len() > MOST_BYTES);
        if long {
            return Err(Fault::of_file(&file, "is longer than 256 MiB", "name a table of boards or parts").into());
        }
        let contents = fs::read(path).map_err(|error| Fault::unreadable(&file, &error))?;
        if sheet::is_one(path) {
            Self::of_sheet(&file, contents, below)
        } else {
            Self::parse(&file, &contents, delimiter, below)
        }
    }

    fn of_sheet(file: &str, contents: Vec<u8>, below: &str) -> Result<Self, Faults> {
        let mut table = Self::empty(file);
        match sheet::rows(contents) {
            Ok(rows) => rows.into_iter().for_each(|(line, mut cells)| {
                // A sheet ends where its widest row does; empty cells at the end of the others mean nothing.
                if table.names.is_empty() {
                    while cells.last().is_some_and(String::is_empty) {
                        cells.pop();
                    }
                } else if cells[table.names.len().min(cells.len())..].iter().all(String::is_empty) {
                    cells.resize(table.names.len(), String::new());
                }
                table.cells(line, cells);
            }),
            Err(reason) => table.fault(0, "", reason, "save it again as .xlsx, .ods or CSV"),
        }
        table.with_names(below)
    }

    fn empty(file: &str) -> Self {
        Self { file: file.into(), line: 0, names: Vec::new(), rows: Vec::new(), faults: Vec::new() }
    }

    fn with_names(mut self, below: &str) -> Result<Self, Faults> {
        if self.names.is_empty() {
            if self.faults.is_empty() {
                self.fault(0, "", "holds no row", format!("begin with a row that names the columns, then {below}"));
            }
            return Err(Faults(self.faults));
        }
        Ok(self)
    }

    /// Reads the contents of `file`. Without a delimiter, cells are parted by commas, semicolons or tabs, as the first
    /// line has them. A row that cannot be read is noted and left out.
    ///
    /// # Errors
    /// There is no row at all; `below` says what belongs below the first.
    pub fn parse(file: &str, contents: &[u8], delimiter: Option<u8>, below: &str) -> Result<Self, Faults> {
        // A byte-order mark, as spreadsheet programs write it, belongs to no column.
        let contents = contents.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(contents);
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter.unwrap_or_else(|| usual_delimiter(contents)))
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(contents);
        let mut table = Self::empty(file);
        for row in reader.byte_records() {
            match row {
                Ok(row) => table.row(&row),
                Err(error) => {
                    let line = error.position().map_or(0, |position| position.line() as usize);
                    table.fault(line, "", format!("is not a table of cells: {error}"), "correct the row");
                    break;
                }
            }
        }
        table.with_names(below)
    }

    fn row(&mut self, row: &csv::ByteRecord) {
        let line = row.position().map_or(0, |position| position.line() as usize);
        let cells: Result<Vec<String>, _> =
            row.iter().map(|cell| std::str::from_utf8(cell).map(|cell| meant(cell).to_owned())).collect();
        match cells {
            Ok(cells) => self.cells(line, cells),
            Err(_) => self.fault(line, "", "is not UTF-8 text", "save the file as UTF-8"),
        }
    }

    fn cells(&mut self, line: usize, cells: Vec<String>) {
        if cells.iter().all(String::is_empty) {
            // A row of nothing, as spreadsheet programs leave at the end.
        } else if self.names.is_empty() {
            (self.line, self.names) = (line, cells);
        } else if cells.len() == self.names.len() {
            self.rows.push(Row { line, cells });
        } else {
            let reason = format!("has {} cells, the first row {}", cells.len(), self.names.len());
            self.fault(line, "", reason, "give it as many; a delimiter inside a value needs quotes around the value");
        }
    }

    /// Notes what is wrong with a line; `field` is a column's name or empty.
    pub fn fault(&mut self, line: usize, field: &str, reason: impl Into<String>, remedy: impl Into<String>) {
        let (file, field) = (self.file.clone(), field.to_owned());
        self.faults.push(Fault { file, line, field, reason: reason.into(), remedy: remedy.into() });
    }

    /// Place of a column, upper and lower case not told apart.
    #[must_use]
    pub fn place(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|known| known.eq_ignore_ascii_case(name))
    }
}

/// The bytes of a table of texts: a spreadsheet where the file's name ends in `.xlsx`, else comma-separated values.
///
/// # Errors
/// It is too large for a spreadsheet, or the name ends in `.ods`, which is only read.
pub fn written(path: &Path, rows: &[Vec<String>]) -> Result<Vec<u8>, Fault> {
    let fault = |reason: String, remedy: &str| Fault::of_file(&path.display().to_string(), reason, remedy);
    let is_xlsx = path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("xlsx"));
    if is_xlsx {
        return sheet::written(rows).map_err(|error| fault(error.to_string(), "write it as .csv"));
    }
    if sheet::is_one(path) {
        return Err(fault("tables are not written in this form".into(), "name a file that ends in .csv or .xlsx"));
    }
    let mut out = csv::Writer::from_writer(Vec::new());
    for row in rows {
        out.write_record(row.iter().map(|cell| harmless(cell))).map_err(|error| fault(error.to_string(), ""))?;
    }
    out.into_inner().map_err(|error| fault(error.to_string(), ""))
}

/// A text that a spreadsheet program would take for a formula begins with an apostrophe, as is usual there.
fn harmless(cell: &str) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
    if formula { format!("'{cell}") } else { cell.to_owned() }
}

/// The text behind such an apostrophe.
fn meant(cell: &str) -> &str {
    let inner = cell.strip_prefix('\'').filter(|inner| inner.starts_with(['=', '+', '-', '@', '\t', '\r']));
    inner.unwrap_or(cell)
}

/// What stands between the cells: a comma, or what spreadsheet programs write where a comma stands in numbers.
fn usual_delimiter(contents: &[u8]) -> u8 {
    let first = contents.split(|byte| *byte == b'\n').next().unwrap_or_default();
    [b',', b';', b'\t'].into_iter().find(|delimiter| first.contains(delimiter)).unwrap_or(b',')
}

//! Tables that people keep in spreadsheet programs: a row that names the columns, then rows of cells.

use crate::fault::{Fault, Faults};

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
        let mut table = Self { file: file.into(), line: 0, names: Vec::new(), rows: Vec::new(), faults: Vec::new() };
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
        if table.names.is_empty() {
            if table.faults.is_empty() {
                table.fault(0, "", "holds no row", format!("begin with a row that names the columns, then {below}"));
            }
            return Err(Faults(table.faults));
        }
        Ok(table)
    }

    fn row(&mut self, row: &csv::ByteRecord) {
        let line = row.position().map_or(0, |position| position.line() as usize);
        let cells: Result<Vec<String>, _> =
            row.iter().map(|cell| std::str::from_utf8(cell).map(str::to_owned)).collect();
        match cells {
            // A row of nothing, as spreadsheet programs leave at the end.
            Ok(cells) if cells.iter().all(String::is_empty) => {}
            Ok(cells) if self.names.is_empty() => (self.line, self.names) = (line, cells),
            Ok(cells) if cells.len() != self.names.len() => {
                let reason = format!("has {} cells, the first row {}", cells.len(), self.names.len());
                self.fault(
                    line,
                    "",
                    reason,
                    "give it as many; a delimiter inside a value needs quotes around the value",
                );
            }
            Ok(cells) => self.rows.push(Row { line, cells }),
            Err(_) => self.fault(line, "", "is not UTF-8 text", "save the file as UTF-8"),
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

/// What stands between the cells: a comma, or what spreadsheet programs write where a comma stands in numbers.
fn usual_delimiter(contents: &[u8]) -> u8 {
    let first = contents.split(|byte| *byte == b'\n').next().unwrap_or_default();
    [b',', b';', b'\t'].into_iter().find(|delimiter| first.contains(delimiter)).unwrap_or(b',')
}

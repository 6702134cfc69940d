//! The units' CSV: one row per unit, one column per value.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::layout::{Kind, Layout, Source};
use pagewise_base::fault::{Fault, Faults};

/// Name of the column that names the units.
pub const UNIT: &str = "unit";

/// A table of units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Units {
    /// File as the user named it.
    pub file: String,
    /// The units in the order of the file.
    pub units: Vec<Unit>,
    /// Columns that the layout does not ask for; they are left alone.
    pub unused_columns: Vec<String>,
}

/// A unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Name; also the stem of its image's file.
    pub name: String,
    /// Line of the file.
    pub line: usize,
    /// Values by column.
    pub values: BTreeMap<String, String>,
}

/// Columns that a layout takes values from, in the order of the file.
#[must_use]
pub fn columns(layout: &Layout) -> Vec<String> {
    let mut columns: Vec<String> = Vec::new();
    let sources = layout.regions.iter().flat_map(|region| {
        let inner: Vec<&Source> = match &region.kind {
            Kind::Records(records) => records.iter().map(|record| &record.source).collect(),
            _ => vec![&region.source],
        };
        inner
    });
    for source in sources {
        if let Source::Column(column) = source
            && !columns.contains(column)
        {
            columns.push(column.clone());
        }
    }
    columns
}

/// Reads the units of a layout from a CSV file.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path, layout: &Layout) -> Result<Units, Faults> {
    let file = path.display().to_string();
    let contents = fs::read(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &contents, layout)
}

/// Reads the units of a layout from the contents of `file`: cells parted by commas, semicolons or tabs, as the first
/// row has them. Blanks around a value do not count.
///
/// # Errors
/// Everything that is wrong in it, row by row. Values are judged when images are built.
pub fn parse(file: &str, contents: &[u8], layout: &Layout) -> Result<Units, Faults> {
    let mut table = Table { file, faults: Vec::new() };
    // A byte-order mark, as spreadsheet programs write it, belongs to no column.
    let contents = contents.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(contents);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator(contents))
        .flexible(true)
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(contents);
    let mut rows = Vec::new();
    for row in reader.byte_records() {
        match row {
            Ok(row) => rows.extend(table.row(&row)),
            Err(error) => {
                let line = error.position().map_or(0, |position| position.line() as usize);
                table.fault(line, "", format!("is not CSV: {error}"), "correct the row");
                break;
            }
        }
    }
    let mut rows = rows.into_iter();
    let Some((line, header)) = rows.next() else {
        table.fault(0, "", "holds no row", "begin with a row that names the columns, then one row per unit");
        return Err(Faults(table.faults));
    };
    let wanted = columns(layout);
    table.header(line, &header, &wanted);
    let units = rows.filter_map(|(line, cells)| table.unit(line, &header, &cells, &wanted)).collect::<Vec<_>>();
    table.repeated(&units);
    if units.is_empty() && table.faults.is_empty() {
        table.fault(line, "", "holds no unit", "write one row per unit below the names of the columns");
    }
    let unused_columns = header.iter().filter(|name| *name != UNIT && !wanted.contains(name)).cloned().collect();
    Faults(table.faults).or_ok(Units { file: file.to_owned(), units, unused_columns })
}

/// What stands between the cells: a comma, or what spreadsheet programs write where a comma stands in numbers.
fn separator(contents: &[u8]) -> u8 {
    let first = contents.split(|byte| *byte == b'\n').next().unwrap_or_default();
    [b',', b';', b'\t'].into_iter().find(|separator| first.contains(separator)).unwrap_or(b',')
}

struct Table<'f> {
    file: &'f str,
    faults: Vec<Fault>,
}

impl Table<'_> {
    fn fault(&mut self, line: usize, field: &str, reason: impl Into<String>, remedy: &str) {
        let (file, field) = (self.file.to_owned(), field.to_owned());
        self.faults.push(Fault { file, line, field, reason: reason.into(), remedy: remedy.into() });
    }

    fn row(&mut self, row: &csv::ByteRecord) -> Option<(usize, Vec<String>)> {
        let line = row.position().map_or(0, |position| position.line() as usize);
        let cells: Result<Vec<String>, _> =
            row.iter().map(|cell| std::str::from_utf8(cell).map(str::to_owned)).collect();
        match cells {
            // A row of nothing, as spreadsheet programs leave at the end.
            Ok(cells) if cells.iter().all(String::is_empty) => None,
            Ok(cells) => Some((line, cells)),
            Err(_) => {
                self.fault(line, "", "is not UTF-8 text", "save the file as UTF-8");
                None
            }
        }
    }

    fn header(&mut self, line: usize, header: &[String], wanted: &[String]) {
        for (index, name) in header.iter().enumerate() {
            if name.is_empty() {
                self.fault(line, "", format!("column {} has no name", index + 1), "name it or remove it");
            } else if header[..index].contains(name) {
                self.fault(line, name, "names two columns", "keep one of them");
            }
        }
        let here = |name: &str| header.iter().any(|known| known == name);
        if !here(UNIT) {
            self.fault(line, UNIT, "the column is missing", "give each unit a name in it; the image's file bears it");
        }
        for name in wanted.iter().filter(|name| !here(name)) {
            let near = header.iter().min_by_key(|known| strsim::levenshtein(known, name));
            let near = near.map_or(String::new(), |near| format!(" (near: {near})"));
            self.fault(line, name, "the column is missing, the layout takes values from it", &format!("add it{near}"));
        }
    }

    fn unit(&mut self, line: usize, header: &[String], cells: &[String], wanted: &[String]) -> Option<Unit> {
        if cells.len() != header.len() {
            let reason = format!("has {} cells, the first row {}", cells.len(), header.len());
            self.fault(line, "", reason, "give it as many; a comma inside a value needs quotes around the value");
            return None;
        }
        let values: BTreeMap<String, String> =
            header.iter().zip(cells).map(|(name, cell)| (name.clone(), cell.clone())).collect();
        for name in wanted {
            if values.get(name).is_some_and(String::is_empty) {
                self.fault(line, name, "is empty", "give the unit a value");
            }
        }
        let name = values.get(UNIT)?.clone();
        if let Err(reason) = lawful(&name) {
            self.fault(line, UNIT, reason, "use letters, digits, `-`, `_` and `.`, beginning with a letter or digit");
        }
        Some(Unit { name, line, values })
    }

    fn repeated(&mut self, units: &[Unit]) {
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for unit in units {
            // Many file systems do not tell upper from lower case.
            if let Some(earlier) = seen.insert(unit.name.to_lowercase(), unit.line) {
                let reason = format!("`{}` is also the unit of line {earlier}", unit.name);
                self.fault(unit.line, UNIT, reason, "name each unit once, upper and lower case not told apart");
            }
        }
    }
}

/// Whether some system takes a name for a device, with or without an extension.
///
/// Windows does: CON, PRN, AUX, NUL, CONIN$, CONOUT$, COM0 to COM9 and LPT0 to LPT9, also with superscript digits, as the
/// page “Naming Files, Paths, and Namespaces” of its documentation has them.
#[must_use]
pub fn is_reserved(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_uppercase();
    if ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"].contains(&stem.as_str()) {
        return true;
    }
    let number = stem.strip_prefix("COM").or_else(|| stem.strip_prefix("LPT"));
    number.is_some_and(|number| {
        let mut digits = number.chars();
        let digit = |c: char| c.is_ascii_digit() || ['\u{B9}', '\u{B2}', '\u{B3}'].contains(&c);
        digits.next().is_some_and(digit) && digits.next().is_none()
    })
}

/// Whether a name can be that of a file on every system.
fn lawful(name: &str) -> Result<(), String> {
    if name.is_empty() {
        return Err("is empty".into());
    }
    if name.len() > 64 {
        return Err(format!("has {} characters, at most 64 are allowed", name.len()));
    }
    let begins = name.starts_with(|c: char| c.is_ascii_alphanumeric());
    let lawful = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if !begins || !name.chars().all(lawful) || name.ends_with('.') || is_reserved(name) {
        return Err(format!("`{name}` cannot name a file on every system"));
    }
    Ok(())
}

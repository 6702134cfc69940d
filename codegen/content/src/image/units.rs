//! The units' CSV: one row per unit, one column per value.

use std::collections::BTreeMap;
use std::path::Path;

use crate::layout::{Kind, Layout, Source};
use pagewise_base::fault::Faults;
use pagewise_base::table::{Row, Table};

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
    units(Table::read(path, None, BELOW)?, layout)
}

/// Reads the units of a layout from the contents of `file`, a [`Table`].
///
/// # Errors
/// Everything that is wrong in it, row by row. Values are judged when images are built.
pub fn parse(file: &str, contents: &[u8], layout: &Layout) -> Result<Units, Faults> {
    units(Table::parse(file, contents, None, BELOW)?, layout)
}

const BELOW: &str = "one row per unit";

fn units(mut table: Table, layout: &Layout) -> Result<Units, Faults> {
    let wanted = columns(layout);
    header(&mut table, &wanted);
    let rows = std::mem::take(&mut table.rows);
    let units = rows.into_iter().filter_map(|row| unit(&mut table, row, &wanted)).collect::<Vec<_>>();
    repeated(&mut table, &units);
    if units.is_empty() && table.faults.is_empty() {
        table.fault(table.line, "", "holds no unit", "write one row per unit below the names of the columns");
    }
    let unused_columns = table.names.iter().filter(|name| *name != UNIT && !wanted.contains(name)).cloned().collect();
    Faults(table.faults).or_ok(Units { file: table.file, units, unused_columns })
}

fn header(table: &mut Table, wanted: &[String]) {
    let (line, header) = (table.line, table.names.clone());
    for (index, name) in header.iter().enumerate() {
        if name.is_empty() {
            table.fault(line, "", format!("column {} has no name", index + 1), "name it or remove it");
        } else if header[..index].contains(name) {
            table.fault(line, name, "names two columns", "keep one of them");
        }
    }
    let here = |name: &str| header.iter().any(|known| known == name);
    if !here(UNIT) {
        table.fault(line, UNIT, "the column is missing", "give each unit a name in it; the image's file bears it");
    }
    for name in wanted.iter().filter(|name| !here(name)) {
        let near = header.iter().min_by_key(|known| strsim::levenshtein(known, name));
        let near = near.map_or(String::new(), |near| format!(" (near: {near})"));
        table.fault(line, name, "the column is missing, the layout takes values from it", format!("add it{near}"));
    }
}

fn unit(table: &mut Table, row: Row, wanted: &[String]) -> Option<Unit> {
    let line = row.line;
    let values: BTreeMap<String, String> = table.names.iter().cloned().zip(row.cells).collect();
    for name in wanted {
        if values.get(name).is_some_and(String::is_empty) {
            table.fault(line, name, "is empty", "give the unit a value");
        }
    }
    let name = values.get(UNIT)?.clone();
    if let Err(reason) = lawful(&name) {
        table.fault(line, UNIT, reason, "use letters, digits, `-`, `_` and `.`, beginning with a letter or digit");
    }
    Some(Unit { name, line, values })
}

fn repeated(table: &mut Table, units: &[Unit]) {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for unit in units {
        // Many file systems do not tell upper from lower case.
        if let Some(earlier) = seen.insert(unit.name.to_lowercase(), unit.line) {
            let reason = format!("`{}` is also the unit of line {earlier}", unit.name);
            table.fault(unit.line, UNIT, reason, "name each unit once, upper and lower case not told apart");
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

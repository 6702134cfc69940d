//! Cells of a table of boards, and the text of the board file that a row stands for.

use std::fmt::Write as _;

use toml::{Table, Value};

use super::file::SHAPE;

/// Paths of the fields that a cell can hold.
pub(super) fn paths() -> impl Iterator<Item = &'static str> {
    let lists = |path: &str| path.contains("[]") || ["bus", "straps", "firmware", "region", "unstated"].contains(&path);
    SHAPE.fields().iter().map(|field| field.path.as_str()).filter(move |path| !lists(path))
}

/// Whether a cell says nothing.
pub(super) fn is_unknown(text: &str) -> bool {
    matches!(text.to_lowercase().as_str(), "" | "unknown" | "?" | "-" | "n/a")
}

/// The value of a field, as its declaration takes it; what does not fit is left a text, and refused when it is read.
pub(super) fn value(path: &str, text: &str) -> Value {
    let field = SHAPE.fields().iter().find(|field| field.path == path);
    let takes = field.map_or("", |field| field.takes.as_str());
    let as_text = || Value::String(text.to_owned());
    if takes.starts_with("a list of whole numbers") {
        Value::Array(pieces(text).map(|piece| whole(piece).unwrap_or_else(|| piece.into())).collect())
    } else if takes.starts_with("a list") {
        list(text)
    } else if takes.starts_with("a whole number") {
        whole(text).unwrap_or_else(as_text)
    } else if takes.starts_with("a number") {
        // Spreadsheets of many countries write a decimal comma.
        text.replace(',', ".").parse().map_or_else(|_| as_text(), Value::Float)
    } else if takes.starts_with("true or false") {
        match text.to_lowercase().as_str() {
            "true" | "yes" => Value::Boolean(true),
            "false" | "no" => Value::Boolean(false),
            _ => as_text(),
        }
    } else {
        as_text()
    }
}

/// What stands between semicolons.
fn pieces(text: &str) -> impl Iterator<Item = &str> {
    text.split(';').map(str::trim).filter(|piece| !piece.is_empty())
}

/// A list of texts.
fn list(text: &str) -> Value {
    Value::Array(pieces(text).map(Value::from).collect())
}

fn whole(text: &str) -> Option<Value> {
    let hex = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    hex.map_or_else(|| text.parse(), |digits| i64::from_str_radix(digits, 16)).ok().map(Value::Integer)
}

/// The regions of a cell: `serial 0x0000+64; log 0x0040+1024 24/day`.
pub(super) fn regions(text: &str) -> Result<Value, String> {
    pieces(text)
        .map(|piece| region(piece).ok_or_else(|| format!("`{piece}` is not a region")))
        .collect::<Result<_, _>>()
        .map(Value::Array)
}

fn region(text: &str) -> Option<Value> {
    let (rest, writes) = match text.strip_suffix("/day").and_then(|text| text.rsplit_once(' ')) {
        Some((rest, writes)) => (rest.trim(), Some(writes.replace(',', ".").parse::<f64>().ok()?)),
        None => (text, None),
    };
    let (name, place) = rest.rsplit_once(' ')?;
    let (offset, length) = place.split_once('+')?;
    let mut region = Table::new();
    region.insert("name".into(), name.trim().into());
    region.insert("offset".into(), whole(offset)?);
    region.insert("length".into(), whole(length)?);
    if let Some(writes) = writes {
        region.insert("writes_per_day".into(), writes.into());
    }
    Some(Value::Table(region))
}

/// What a cell says of a value that a board file holds.
pub(super) fn text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(items) => items.iter().map(self::text).collect::<Vec<_>>().join("; "),
        Value::Table(region) => {
            let number = |key: &str| region.get(key).and_then(Value::as_integer).unwrap_or_default();
            let name = region.get("name").and_then(Value::as_str).unwrap_or_default();
            let writes = region.get("writes_per_day").map_or_else(String::new, |writes| format!(" {writes}/day"));
            format!("{name} {:#06x}+{}{writes}", number("offset"), number("length"))
        }
        other => other.to_string(),
    }
}

/// The value at a path of at most two pieces.
pub(super) fn get<'t>(fields: &'t Table, path: &str) -> Option<&'t Value> {
    match path.split_once('.') {
        Some((table, key)) => fields.get(table)?.as_table()?.get(key),
        None => fields.get(path),
    }
}

/// Puts a value at a path of at most two pieces.
pub(super) fn set(fields: &mut Table, path: &str, value: Value) {
    match path.split_once('.') {
        Some((table, key)) => {
            let table = fields.entry(table).or_insert_with(|| Value::Table(Table::new()));
            if let Value::Table(table) = table {
                table.insert(key.to_owned(), value);
            }
        }
        None => drop(fields.insert(path.to_owned(), value)),
    }
}

/// The text of a board file.
pub(super) fn file_text(fields: &Table, head: &str) -> String {
    let mut out = format!("# {}\n", head.replace(char::is_control, " "));
    let line = |out: &mut String, key: &str, value: &Value| {
        let _ = writeln!(out, "{key} = {value}");
    };
    let tops = paths().filter(|path| !path.contains('.'));
    for path in tops.chain(["unstated"]) {
        if let Some(value) = fields.get(path) {
            line(&mut out, path, value);
        }
    }
    for name in ["bus", "straps", "firmware"] {
        let _ = write!(out, "\n[{name}]\n");
        for (key, value) in fields.get(name).and_then(Value::as_table).into_iter().flatten() {
            line(&mut out, key, value);
        }
    }
    for region in fields.get("region").and_then(Value::as_array).into_iter().flatten() {
        out.push_str("\n[[region]]\n");
        for key in ["name", "offset", "length", "writes_per_day"] {
            if let Some(value) = region.get(key) {
                line(&mut out, key, value);
            }
        }
    }
    out
}

//! Edits of a card file as a table.

use toml::{Table, Value};

pub fn get<'t>(table: &'t Table, path: &str) -> Option<&'t Value> {
    let (first, rest) = path.split_once('.').map_or((path, None), |(first, rest)| (first, Some(rest)));
    let value = table.get(first)?;
    rest.map_or(Some(value), |rest| get(value.as_table()?, rest))
}

pub fn number(table: &Table, path: &str) -> Option<i64> {
    get(table, path)?.as_integer()
}

pub fn decimal(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))
}

pub fn set(table: &mut Table, path: &str, value: impl Into<Value>) {
    match path.split_once('.') {
        None => {
            table.insert(path.to_owned(), value.into());
        }
        Some((first, rest)) => {
            let below = table.entry(first.to_owned()).or_insert_with(|| Value::Table(Table::new()));
            set(below.as_table_mut().expect("a table of the card"), rest, value);
        }
    }
}

/// Takes a field away as if the sheet did not state it; `None` where it does not.
pub fn withhold(table: &mut Table, path: &str) -> Option<()> {
    fn remove(table: &mut Table, path: &str) -> Option<Value> {
        match path.split_once('.') {
            None => table.remove(path),
            Some((first, rest)) => remove(table.get_mut(first)?.as_table_mut()?, rest),
        }
    }
    remove(table, path)?;
    forget(table, path);
    Some(())
}

/// Nothing is said of where a field that is gone came from.
pub fn forget(table: &mut Table, path: &str) {
    let other = |field: &Value| field.as_str() != Some(path);
    if let Some(Value::Array(derived)) = table.get_mut("derived") {
        derived.retain(other);
    }
    if let Some(Value::Array(basis)) = table.get_mut("basis") {
        for behind in basis.iter_mut().filter_map(Value::as_table_mut) {
            if let Some(Value::Array(fields)) = behind.get_mut("fields") {
                fields.retain(other);
            }
        }
        basis.retain(|behind| behind["fields"].as_array().is_some_and(|fields| !fields.is_empty()));
    }
}

pub fn list<'t>(table: &'t mut Table, name: &str) -> Option<&'t mut Vec<Value>> {
    table.get_mut(name)?.as_array_mut()
}

pub fn is_named(value: &Value, key: &str, word: &str) -> bool {
    value.get(key).and_then(Value::as_str) == Some(word)
}

/// Every package that the card names.
pub fn made(card: &Table) -> Vec<String> {
    let made = get(card, "packages.made").and_then(Value::as_array).into_iter().flatten();
    made.filter_map(Value::as_str).map(str::to_owned).collect()
}

pub fn without_package(card: &mut Table, word: &str) {
    let left: Vec<String> = made(card).into_iter().filter(|it| it != word).collect();
    set(card, "packages.made", left);
    for (name, key) in [("package", "name"), ("order_code", "package")] {
        if let Some(all) = list(card, name) {
            all.retain(|entry| !is_named(entry, key, word));
        }
    }
}

/// The entry of a package, made where there is none.
pub fn entry<'t>(card: &'t mut Table, word: &str) -> Option<&'t mut Table> {
    if !card.contains_key("package") {
        set(card, "package", Value::Array(Vec::new()));
    }
    let entries = list(card, "package")?;
    if !entries.iter().any(|entry| is_named(entry, "name", word)) {
        entries.push(Value::Table(Table::from_iter([("name".to_owned(), Value::from(word))])));
    }
    entries.iter_mut().find(|entry| is_named(entry, "name", word))?.as_table_mut()
}
